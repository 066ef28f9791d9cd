"""Which plant a person is looking at."""

from diestore.queries import plant_of

__all__ = ["plant_of"]
