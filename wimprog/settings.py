"""Settings, all from the environment; a `.env` file beside manage.py may hold them.

`DEVELOPERS.md` lists every name. `django.contrib.sites` is never installed: its label
would meet our own app `sites`.
"""

from pathlib import Path

import environ
from django.core.exceptions import ImproperlyConfigured

BASE_DIR = Path(__file__).resolve().parent.parent

env = environ.Env()
if (BASE_DIR / ".env").is_file():
    environ.Env.read_env(BASE_DIR / ".env")

DEBUG = env.bool("WIMPROG_DEBUG", default=False)
SECRET_KEY = env.str("WIMPROG_SECRET_KEY", default="")
if not SECRET_KEY:
    if not DEBUG:
        raise ImproperlyConfigured(
            "WIMPROG_SECRET_KEY is not set and WIMPROG_DEBUG is off, so sessions could "
            "not be signed safely. Set WIMPROG_SECRET_KEY to 50 or more random "
            "characters, in the environment or in a .env file beside manage.py; "
            '`python -c "import secrets; print(secrets.token_urlsafe(50))"` makes one. '
            "On a developer's own machine, WIMPROG_DEBUG=on will do. To look around "
            "without setting anything: `python manage.py demo`."
        )
    SECRET_KEY = "for-a-developers-own-machine-only"  # noqa: S105

IS_DEMO = env.bool("WIMPROG_IS_DEMO", default=False)
AS_OF = env.str("WIMPROG_AS_OF", default="")

ALLOWED_HOSTS = env.list(
    "WIMPROG_ALLOWED_HOSTS", default=["127.0.0.1", "localhost", "[::1]"]
)
CSRF_TRUSTED_ORIGINS = env.list("WIMPROG_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "wimprog",
    "quality",
    "calibration",
    "installs",
    "sites",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_filters",
    "django_htmx",
    "django_tables2",
    "django_tasks",
    "django_tasks_db",
    "simple_history",
    "csp",
    "axes",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "wimprog.middleware.ProgramMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "wimprog.urls"
WSGI_APPLICATION = "wimprog.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "wimprog.context.everywhere",
            ],
        },
    }
]

# --- the two stores --------------------------------------------------------------
DATABASES = {
    "default": env.db(
        "DATABASE_URL", default=f"sqlite:///{BASE_DIR}/var/wimprog.sqlite3"
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    Path(DATABASES["default"]["NAME"]).parent.mkdir(parents=True, exist_ok=True)
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": (
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; "
            "PRAGMA foreign_keys=ON; PRAGMA cache_size=-65536; "
            "PRAGMA mmap_size=268435456"
        ),
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Per-vehicle records, as columnar files, and files on their way in.
RECORD_STORE = Path(env.str("WIMPROG_STORE", default=str(BASE_DIR / "var" / "records")))
# Where work on stored records runs: serial, threads[:n], processes[:n], cluster:address
RECORD_EXECUTOR = env.str("WIMPROG_EXECUTOR", default="threads")
UPLOAD_DIR = Path(env.str("WIMPROG_UPLOADS", default=str(BASE_DIR / "var" / "uploads")))
UPLOAD_LIMIT_MB = env.int("WIMPROG_UPLOAD_LIMIT_MB", default=2048)
FILE_UPLOAD_TEMP_DIR = None
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000

# --- long work ---------------------------------------------------------------------
TASKS = {
    "default": {
        "BACKEND": env.str("WIMPROG_TASKS", default="django_tasks_db.DatabaseBackend"),
    }
}

# --- people ------------------------------------------------------------------------
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
    )
]
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "health"
LOGOUT_REDIRECT_URL = "login"

# --- language, time, static --------------------------------------------------------
LANGUAGE_CODE = "en-us"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"
STATIC_URL = "static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
_HASHED_STATIC = env.bool("WIMPROG_HASHED_STATIC", default=False)
# without collected files they are found where they lie, at each request
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not _HASHED_STATIC
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "whitenoise.storage.CompressedManifestStaticFilesStorage"
            if _HASHED_STATIC
            else "django.contrib.staticfiles.storage.StaticFilesStorage"
        )
    },
}

# --- safety ------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'self'"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
    }
}
_SECURE = not DEBUG and not env.bool("WIMPROG_INSECURE_COOKIES", default=False)
SESSION_COOKIE_SECURE = _SECURE
CSRF_COOKIE_SECURE = _SECURE
SECURE_SSL_REDIRECT = env.bool("WIMPROG_SSL_REDIRECT", default=_SECURE)
SECURE_HSTS_SECONDS = env.int("WIMPROG_HSTS_SECONDS", default=3600 if _SECURE else 0)
SECURE_HSTS_INCLUDE_SUBDOMAINS = _SECURE
SECURE_HSTS_PRELOAD = False
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
if env.bool("WIMPROG_BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SESSION_COOKIE_HTTPONLY = True
X_FRAME_OPTIONS = "DENY"
SILENCED_SYSTEM_CHECKS = ["security.W021"]  # preload is the site owner's decision

# --- what a sysadmin reads -----------------------------------------------------------
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "format": "{asctime} {levelname:<7} {name} {message}",
            "style": "{",
        }
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.str("WIMPROG_LOG", default="INFO")},
    "loggers": {
        "django.server": {
            "handlers": ["console"],
            "level": "WARNING",
            "propagate": False,
        },
        "axes": {"level": "WARNING"},
    },
}

# --- mail: printed unless a server is named ----------------------------------------
_MAIL = env.email_url("WIMPROG_EMAIL_URL", default="consolemail://")
EMAIL_BACKEND = _MAIL["EMAIL_BACKEND"]
EMAIL_HOST = _MAIL.get("EMAIL_HOST") or "localhost"
EMAIL_PORT = _MAIL.get("EMAIL_PORT") or 25
EMAIL_HOST_USER = _MAIL.get("EMAIL_HOST_USER") or ""
EMAIL_HOST_PASSWORD = _MAIL.get("EMAIL_HOST_PASSWORD") or ""
EMAIL_USE_TLS = _MAIL.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = _MAIL.get("EMAIL_USE_SSL", False)
EMAIL_TIMEOUT = 30
DEFAULT_FROM_EMAIL = env.str("WIMPROG_EMAIL_FROM", default="wimprog@localhost")
# Where people reach these pages: the head of the links in mails.
WIMPROG_ADDRESS = env.str("WIMPROG_ADDRESS", default="http://localhost:8000")

SIMPLE_HISTORY_HISTORY_CHANGE_REASON_USE_TEXT_FIELD = True
DJANGO_TABLES2_TEMPLATE = "includes/_table.html"
