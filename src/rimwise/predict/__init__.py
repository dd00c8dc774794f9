"""What will this eye see, with the implant where it really is?"""
