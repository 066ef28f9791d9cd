"""Settings. What a shop changes is an environment variable, or a line of `diestore.env`; all else stands here once."""

from __future__ import annotations

import contextlib
import os
import secrets
import warnings
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from csp.constants import NONE, SELF, UNSAFE_INLINE
from django.core.exceptions import ImproperlyConfigured

from diestore import environment
from diestore.database_url import database_settings

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None

BASE_DIR = Path(__file__).resolve().parent.parent

try:
    os.environ.update(
        environment.merged(os.environ, Path(os.environ.get("DIESTORE_ENV") or BASE_DIR / environment.FILE))
    )
except environment.NotReadable as error:
    raise ImproperlyConfigured(str(error)) from error


def _flag(name: str, default: bool = False) -> bool:
    return os.environ.get(name, "1" if default else "0").lower() in ("1", "true", "yes", "on")


def _whole(name: str, default: int) -> int:
    text = os.environ.get(name, "") or str(default)
    if not (text.isascii() and text.isdigit()):
        raise ImproperlyConfigured(f"{name} is {text!r}. Write a whole number, such as {name}={default}.")
    return int(text)


def _secret_key() -> str:
    """The key from the environment, else one made on first start, kept beside the code and readable by its owner.

    Written beside its place and put there whole, in one step: so nobody ever reads half of it, and of several first
    starts at once all take the one that was there first.
    """
    if key := os.environ.get("DIESTORE_SECRET_KEY"):
        return key
    path = BASE_DIR / ".secret-key"
    key = secrets.token_urlsafe(50)
    beside = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    try:
        if path.exists() and not path.read_text().strip():  # left by a crash
            _fill(path, key)
        if not path.exists():
            with open(os.open(beside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as file:
                file.write(key)
                file.flush()
                os.fsync(file.fileno())
            _put(beside, path)
    except OSError:
        if not path.exists():
            return key  # a read-only checkout: sessions end with the process
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
    return path.read_text().strip() or key


def _put(beside: Path, path: Path) -> None:
    """The file to its place, unless another is there."""
    try:
        os.link(beside, path)
    except FileExistsError:
        pass
    except OSError:  # a file system without links
        if not path.exists():
            beside.rename(path)


def _fill(path: Path, key: str) -> None:
    """A key into an empty file, by one of those who found it so."""
    with open(path, "r+") as file:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX)
        if not file.read().strip():
            path.chmod(0o600)
            file.seek(0)
            file.write(key)
            file.flush()
            os.fsync(file.fileno())


DEBUG = _flag("DIESTORE_DEBUG")
SECRET_KEY = _secret_key()
ALLOWED_HOSTS = os.environ.get("DIESTORE_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
CSRF_TRUSTED_ORIGINS = [o for o in os.environ.get("DIESTORE_ORIGINS", "").split(",") if o]

INSTALLED_APPS = [
    "diestore.apps.DiestoreConfig",
    "maintenance.apps.MaintenanceConfig",
    "reports.apps.ReportsConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.humanize",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",  # its own templates of fields, beside ours
    "django_tables2",
    "django_filters",
    "simple_history",
    "django_tasks",
    "django_tasks_db",
    "csp",
]

MIDDLEWARE = [
    "diestore.middleware.NumberRequests",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "diestore.middleware.SayNotAllowed",  # within the one that writes down how long the answer is
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "diestore.access.shop.ByTheShopsClock",
    "diestore.access.language.InOnesOwnLanguage",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",  # every view asks for sign-in unless it says otherwise
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
]

ROOT_URLCONF = "diestore.urls"
WSGI_APPLICATION = "diestore.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR],  # a template stands in its room, and its name is its path from here
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "diestore.context.page",
            ],
        },
    },
]

FORM_RENDERER = "django.forms.renderers.TemplatesSetting"  # fields find their templates as pages do

DATABASES = {
    "default": database_settings(os.environ.get("DATABASE_URL") or f"sqlite:///{BASE_DIR / 'diestore.sqlite3'}")
}

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
    {"NAME": "diestore.access.demo_users.NotADemoPassword"},
]
AUTHENTICATION_BACKENDS = ["diestore.access.demo_users.OnlyInTheDemo", "diestore.access.sign_in.WithSettings"]
LOGIN_URL = "diestore:sign_in"
LOGIN_REDIRECT_URL = "reports:today"
LOGOUT_REDIRECT_URL = "diestore:sign_in"

LANGUAGE_CODE = "en"
TIME_ZONE = os.environ.get("DIESTORE_TIME_ZONE", "") or "UTC"
try:
    ZoneInfo(TIME_ZONE)
except (ZoneInfoNotFoundError, ValueError, OSError):  # OSError: the name of a folder of zones
    raise ImproperlyConfigured(
        f"DIESTORE_TIME_ZONE is {TIME_ZONE!r}, and there is no such zone. Write one such as Europe/Vienna."
    ) from None
USE_I18N = True
LANGUAGES = [("en", "English"), ("es-mx", "Español (México)")]  # each by its own name
USE_TZ = True
USE_THOUSAND_SEPARATOR = True
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3

STATIC_URL = "/static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
WHITENOISE_USE_FINDERS = True  # a small shop needs no collectstatic, and no folder that it would fill
warnings.filterwarnings("ignore", "No directory at", UserWarning)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# No page loads anything from elsewhere, and no script or style sheet stands in a page. Style attributes are let
# through: drawings and plots (SVG) carry them. Browsers that do not know the two finer lines go by the coarse one.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "style-src": [SELF, UNSAFE_INLINE],
        "style-src-elem": [SELF],
        "style-src-attr": [UNSAFE_INLINE],
        "img-src": [SELF, "data:"],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
        "base-uri": [SELF],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
# A person is signed in for a shift; a shared tablet stays signed in, and who logs is picked on it by name and PIN.
SESSION_COOKIE_AGE = _whole("DIESTORE_SESSION_HOURS", 12) * 3_600
TABLET_SESSION_AGE = _whole("DIESTORE_TABLET_DAYS", 90) * 86_400
WHO_MINUTES = _whole("DIESTORE_WHO_MINUTES", 10)  # so long a name that was picked with its PIN stays picked
WHO_AGAIN_MINUTES = _whole("DIESTORE_WHO_AGAIN_MINUTES", 60)  # so long the same name comes back without the PIN
PROXIES_SAID = "DIESTORE_PROXIES" in os.environ
PROXIES = _whole("DIESTORE_PROXIES", 0)  # proxies of ours before this one: their word on addresses and HTTPS counts
HTTPS = _flag("DIESTORE_HTTPS")
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^alive/$"]  # a probe on this machine asks without HTTPS, and takes a redirect for a yes
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
if HTTPS and PROXIES:  # anybody may write that header; a proxy of ours writes it anew
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

DJANGO_TABLES2_TEMPLATE = "diestore/frame/table.html"

# What a browser may send. Few pages take a file, and none is ever written to the disk.
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000  # bytes of one form
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000  # one sharpening of a large die is one form
DATA_UPLOAD_MAX_NUMBER_FILES = 1  # a spreadsheet or a photo, and on their pages only:
FILE_UPLOAD_HANDLERS = ["diestore.service.uploads.ForPagesThatTakeOne"]
FILE_UPLOAD_MAX_MEMORY_SIZE = DATA_UPLOAD_MAX_MEMORY_SIZE
FILE_UPLOAD_PERMISSIONS, FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o640, 0o750

# Background work: its queue is in the database that is there anyway. `manage.py serve` starts a worker for it, which
# also asks for the nights. With DIESTORE_WORKERS=1 it starts none: `manage.py work` runs by itself then, any number of
# times on any number of hosts. A command that writes where no worker is alive computes the forecasts at once.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
FORECASTS_BY_WORKERS = _flag("DIESTORE_WORKERS")
WORKER_LEASE_S = float(os.environ.get("DIESTORE_WORKER_LEASE_S", "60"))  # a worker not heard of for so long is dead

DEMO = _flag("DIESTORE_DEMO")  # set by `manage.py demo` for its own process: lets the demo's users sign in
DEMO_TABLES = os.environ.get("DIESTORE_DEMO_TABLES", "")  # a history folder shown in place of the demo shop's
if DEMO:  # it may run beside the shop on the same host, where cookies are of both: each keeps its own
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "demo_session", "demo_form"
    MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
STANDS_STILL = DEMO  # today is the day of the log's last entry, and not the clock's

# DIESTORE_LOGS=json: one JSON object a line, and a line a request. Else warnings and errors, to be read on a terminal.
LOGS_AS_JSON = os.environ.get("DIESTORE_LOGS", "") == "json"
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"belongs": {"()": "diestore.service.log_lines.Belongs"}},
    "formatters": {
        "plain": {"()": "diestore.service.log_lines.Plain"},
        "json": {"()": "diestore.service.log_lines.JsonLines"},
    },
    "handlers": {
        "terminal": {
            "class": "logging.StreamHandler",
            "filters": ["belongs"],
            "formatter": "json" if LOGS_AS_JSON else "plain",
        }
    },
    "root": {"handlers": ["terminal"], "level": "INFO" if LOGS_AS_JSON else "WARNING"},
}
MONITOR_KEY = os.environ.get("DIESTORE_MONITOR_KEY", "")  # with it a monitor may read /service.json

# The shop's own words on every page, and its money, until somebody says so on a page (diestore/access/shop.py).
SHOP_NAME = os.environ.get("DIESTORE_SHOP", "diestore")
CURRENCY = os.environ.get("DIESTORE_CURRENCY", "EUR")
