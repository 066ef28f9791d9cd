"""Quickly, with oily hands: a screen a task, the list of entries, striking out."""
