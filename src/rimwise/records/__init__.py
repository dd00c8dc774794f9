"""The nouns handed from step to step: frozen, plain numbers inside."""
