"""The key of an entry: one that comes twice is known by it."""

import uuid


def fresh_key() -> str:
    return uuid.uuid4().hex
