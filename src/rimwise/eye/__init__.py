"""The eye as an optical instrument: what its surfaces do to size, place and direction."""
