"""Units, frames, estimates, sources and errors: the words that every other layer speaks."""
