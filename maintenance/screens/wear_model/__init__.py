"""What do hardness, gap and steel do here?"""
