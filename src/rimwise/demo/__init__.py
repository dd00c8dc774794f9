"""A believable clinic that never existed, and the one renderer of its photographs."""
