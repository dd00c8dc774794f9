"""Load, hand to a pure step, save: what a command or a page asks for, from file to file."""
