"""Place: with this opening, where should the optic sit, and is there anything in turning it?"""
