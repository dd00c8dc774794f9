"""Over many eyes, does the way of working work, and how much does it scatter?"""
