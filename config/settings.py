"""Settings of Kilnward, read from the environment (see README.md for the variables)."""

import contextlib
import secrets
from pathlib import Path
from typing import Any

import dj_database_url
import fontpkg_lato
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from config import env

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(env.text("KILNWARD_DATA_DIR", str(BASE_DIR / "var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = env.flag("KILNWARD_DEBUG")
ALLOWED_HOSTS = env.words("KILNWARD_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = env.words("KILNWARD_TRUSTED_ORIGINS")
# Addresses or nets of the proxies in front: they alone are believed where a request comes from, and whether by https.
PROXIES = env.networks("KILNWARD_PROXIES")


def _secret_key() -> str:
    """Return the key from the environment, or one made once and kept beside the data."""
    given = env.text("KILNWARD_SECRET_KEY")
    if given:
        return given
    path = DATA_DIR / "secret-key"
    if not path.exists():
        fresh = path.with_name(f"secret-key.{secrets.token_hex(4)}")
        fresh.touch(mode=0o600)
        fresh.write_text(secrets.token_urlsafe(60))
        # A hard link fails where another process was quicker: then its key is the one.
        with contextlib.suppress(FileExistsError):
            path.hardlink_to(fresh)
        fresh.unlink()
    return path.read_text().strip()


SECRET_KEY = _secret_key()

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.humanize",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "django_filters",
    "django_htmx",
    "django_q",
    "plant",
    "inventory",
    "maintenance",
    "config",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "config.middleware.OddRequestMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "config.middleware.SessionUseMiddleware",
    "config.middleware.SignInMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "plant.middleware.MillZoneMiddleware",
    "plant.middleware.FirstPasswordMiddleware",
    "config.kept_forms.KeptFormsMiddleware",
    "config.middleware.FormAddressMiddleware",
    "config.middleware.NoMillMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"

# Each room keeps its templates beside its code.
ROOM_TEMPLATES = sorted(path for storey in ("plant", "maintenance") for path in (BASE_DIR / storey).glob("*/templates"))

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": ROOM_TEMPLATES,
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "plant.context.mill",
            ],
            "builtins": ["plant.templatetags.said"],
        },
    }
]

SQLITE_OPTIONS: dict[str, Any] = {
    "timeout": 20,
    "transaction_mode": "IMMEDIATE",
    # FULL: what was acknowledged is on the disk. NORMAL would lose the last commits when the power fails.
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
}


def _database() -> dict[str, Any]:
    """Return the default database: SQLite beside the data unless DATABASE_URL says otherwise."""
    url = env.text("DATABASE_URL", f"sqlite:///{DATA_DIR / 'kilnward.sqlite3'}")
    found: dict[str, Any] = dict(dj_database_url.parse(url))
    if found["ENGINE"].endswith("sqlite3"):
        found["OPTIONS"] = {**found.get("OPTIONS", {}), **SQLITE_OPTIONS}
    else:
        found["CONN_MAX_AGE"] = 60
        found["CONN_HEALTH_CHECKS"] = True
    return found


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "plant.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
CSRF_FAILURE_VIEW = "config.views.page_too_old"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "registration/locked_out.html"
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False

# Where the site is reached by https, cookies travel encrypted only; a proxy in front is there for that.
IS_BEHIND_TLS = env.flag("KILNWARD_TLS", default=bool(PROXIES))
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_BEHIND_TLS
SECURE_HSTS_SECONDS = 3600 * 24 * 30 if IS_BEHIND_TLS else 0
# Signed out after so long without use: a long shift, and a quarter of an hour on a device that others use.
SESSION_COOKIE_AGE = env.whole("KILNWARD_SESSION_HOURS", 12, least=1) * 3600
SHARED_DEVICE_S = 15 * 60
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English"))]
LOCALE_PATHS = [BASE_DIR / "config" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
USE_THOUSAND_SEPARATOR = False

STATIC_URL = "static/"
# The typeface of the pages is the one of the printed papers.
STATICFILES_DIRS = [("fonts", fontpkg_lato.ROOT / "files")]
# Static files are served from where they lie: no collecting step before a start.
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG

FIXTURES_DIR = BASE_DIR / "fixtures"
ACCESS_TABLE = BASE_DIR / "config" / "access.csv"

# Fixes the day of every page and command (YYYY-MM-DD): the demo's way to stand in one morning.
KILNWARD_TODAY = env.text("KILNWARD_TODAY")
# Set by the command that serves the demo: only there do pages ask how far it is filled.
SERVES_DEMO = env.flag("KILNWARD_SERVES_DEMO")

MAX_LOAD_BYTES = env.whole("KILNWARD_MAX_LOAD_MB", 50, least=1) * 1024 * 1024
# The folders that are watched for loggers' files lie below this one; empty: none is watched.
READINGS_DIR = env.text("KILNWARD_READINGS_DIR")
# The folder that is watched for files of the mill's charges; empty: none is.
CHARGES_DIR = env.text("KILNWARD_CHARGES_DIR")

# The address under which people reach the site, for links in what is sent to them.
SITE_ADDRESS = env.text("KILNWARD_ADDRESS").rstrip("/")
# Mail goes out where a server for it is named; else none is written.
EMAIL_HOST = env.text("KILNWARD_MAIL_HOST")
SENDS_MAIL = bool(EMAIL_HOST)
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if SENDS_MAIL else 'dummy'}.EmailBackend"
MAIL_SECURITY = env.one_of("KILNWARD_MAIL_SECURITY", ("starttls", "tls", "none"))
EMAIL_USE_TLS, EMAIL_USE_SSL = MAIL_SECURITY == "starttls", MAIL_SECURITY == "tls"
EMAIL_PORT = env.whole("KILNWARD_MAIL_PORT", {"starttls": 587, "tls": 465, "none": 25}[MAIL_SECURITY], least=1)
EMAIL_HOST_USER = env.text("KILNWARD_MAIL_USER")
EMAIL_HOST_PASSWORD = env.text("KILNWARD_MAIL_PASSWORD")
DEFAULT_FROM_EMAIL = env.text("KILNWARD_MAIL_FROM", "" if SENDS_MAIL else "kilnward@localhost")
if "@" not in DEFAULT_FROM_EMAIL:
    raise ImproperlyConfigured("KILNWARD_MAIL_HOST is set: say in KILNWARD_MAIL_FROM from which address mail goes out.")
EMAIL_TIMEOUT = 20

# Background work: the longest a task may take, and how often the worker is asked whether it lives.
TASK_TIMEOUT_S = env.whole("KILNWARD_TASK_TIMEOUT_S", 900, least=2)
HEARTBEAT_S = env.whole("KILNWARD_HEARTBEAT_S", 5, least=1)
# How long running tasks may go on after the server was told to stop; then they are started anew at the next start.
STOP_S = env.whole("KILNWARD_STOP_S", 20)
# Further modules with tasks, beside each app's own tasks.py.
TASK_MODULES = env.words("KILNWARD_TASK_MODULES")

# The web server: one process serves an office on SQLite, a plant takes two or more.
WEB_WORKERS = env.whole("KILNWARD_WEB_WORKERS", 1, least=1)
WEB_THREADS = env.whole("KILNWARD_WEB_THREADS", 4 if WEB_WORKERS == 1 else 2, least=1)
CERTIFICATE = env.text("KILNWARD_CERTIFICATE")
CERTIFICATE_KEY = env.text("KILNWARD_CERTIFICATE_KEY")

Q_CLUSTER: dict[str, Any] = {
    "name": "kilnward",
    "orm": "default",
    "workers": env.whole("KILNWARD_WORKERS", 2, least=1),
    "timeout": TASK_TIMEOUT_S,
    "retry": TASK_TIMEOUT_S + 60,  # must exceed the longest timeout, or a long task starts twice
    "max_attempts": 3,
    "ack_failures": False,
    "catch_up": False,
    "poll": 1,
    "guard_cycle": 0.5,  # 0 makes the guard kill tasks at once
    "recycle": 200,
    "save_limit": 1000,
    "time_zone": TIME_ZONE,
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"one_line": {"()": "config.logs.OneLineWhileAway"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "filters": ["one_line"]}},
    "root": {"handlers": ["console"], "level": env.text("KILNWARD_LOG_LEVEL", "WARNING")},
    # Django's own handler for requests would print beside ours while debugging.
    "loggers": {"django-q": {"level": "WARNING"}, "django": {"handlers": [], "propagate": True}},
}
