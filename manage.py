#!/usr/bin/env python
"""The command line of the service."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit("Django is not installed here. Run `make setup`, then `.venv/bin/python manage.py ...`.")
    try:
        execute_from_command_line(sys.argv)
    except Exception as error:
        from diestore.service.trouble import sentence_of

        sentence = "" if "--traceback" in sys.argv else sentence_of(error)
        if not sentence:
            raise
        sys.exit(f"{sentence}\n(With --traceback the whole error is shown.)")


if __name__ == "__main__":
    main()
