"""What does this picture show? Cover by direction, with ±, from a photograph with an implant."""
