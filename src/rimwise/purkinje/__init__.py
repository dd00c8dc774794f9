"""The eye's four mirror reflexes: where they appear, and what they tell about the eye."""
