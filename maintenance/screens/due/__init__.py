"""Which die is pulled next, and why?"""
