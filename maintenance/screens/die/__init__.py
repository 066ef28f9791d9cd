"""How does this die stand? Its places along the strip, what is left of each, what is ahead."""
