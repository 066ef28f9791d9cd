"""What a web server calls."""

import gc
import logging
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
application = get_wsgi_application()


def _say_what_is_wrong() -> None:
    """At the start, into the log: the pages are served all the same."""
    from django.db import DatabaseError, connection

    from diestore.service import hosts

    try:
        hosts.leave_line()
        for sentence in hosts.worries(hosts.serving()):
            logging.getLogger("diestore.service.hosts").warning(sentence)
    except DatabaseError:  # not there yet: whoever asks for a page is told
        pass
    finally:
        connection.close()


_say_what_is_wrong()


def _keep_what_was_loaded() -> None:
    """All that the start loads stays for good. Left to the collector, each of its full rounds would look through all of
    it again: a tenth of a second, in the middle of some page."""
    import scipy.optimize
    import scipy.special  # noqa: F401  scipy loads its parts when they are first named: here, and not within a page
    from django.urls import get_resolver

    _ = get_resolver().url_patterns  # the pages are loaded with the first address that is looked up
    gc.collect()
    gc.freeze()


_keep_what_was_loaded()
