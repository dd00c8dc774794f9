"""Where is the centre in this frame, and how far is the eye from fixation?"""
