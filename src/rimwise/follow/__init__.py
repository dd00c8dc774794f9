"""What has changed in one eye since?"""
