"""PURE. Chances, counts and standing in the words that a toolroom says aloud.

May import nothing of the house but its texts.
"""
