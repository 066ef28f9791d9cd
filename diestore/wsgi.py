"""What a web server calls."""

import logging
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
application = get_wsgi_application()


def _say_what_is_wrong() -> None:
    """At the start, into the log: the pages are served all the same."""
    from django.db import DatabaseError, connection

    from . import hosts

    try:
        hosts.leave_line()
        for sentence in hosts.worries(hosts.serving()):
            logging.getLogger("diestore.hosts").warning(sentence)
    except DatabaseError:  # not there yet: whoever asks for a page is told
        pass
    finally:
        connection.close()


_say_what_is_wrong()
