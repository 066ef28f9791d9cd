"""What is this die made of, since when, and what changes? The strip drawn, places typed on it, a paste, its history."""
