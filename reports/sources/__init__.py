"""Who supplies a spare: its sources side by side, what each promised and took, and the level set by hand.

May import: purchasing, and the rooms of maintenance that are for reading. The register writes.
"""
