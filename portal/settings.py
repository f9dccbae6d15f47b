"""Settings of the portal. Everything that differs between places comes from the environment.

PORTAL_HOME         folder for the embedded database, uploaded files and the key file (default: .local)
DATABASE_URL        a PostgreSQL server; without it an embedded one runs in PORTAL_HOME
PORTAL_SECRET_KEY   signing key; without it one is made once and kept in PORTAL_HOME, readable by the owner only
PORTAL_HOSTS        host names served, separated by commas (default: this machine)
PORTAL_ORIGINS      addresses people type when a proxy adds HTTPS, e.g. https://trial.example.org, with commas
PORTAL_DEBUG        1 for developing
"""

import os
import secrets
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF

BASE_DIR = Path(__file__).resolve().parent.parent
HOME = Path(os.environ.get("PORTAL_HOME", BASE_DIR / ".local")).resolve()


def _secret_key() -> str:
    if key := os.environ.get("PORTAL_SECRET_KEY"):
        return key
    path = HOME / "secret_key"
    if not path.exists():
        HOME.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as handle:
            handle.write(secrets.token_urlsafe(50))
    return path.read_text()


SECRET_KEY = _secret_key()
DEBUG = os.environ.get("PORTAL_DEBUG") == "1"
ALLOWED_HOSTS = os.environ.get("PORTAL_HOSTS", "127.0.0.1,localhost,[::1]").split(",")

ORIGINS = [origin for origin in os.environ.get("PORTAL_ORIGINS", "").split(",") if origin]
CSRF_TRUSTED_ORIGINS = ORIGINS
if any(origin.startswith("https://") for origin in ORIGINS):
    # Only a proxy that sets this header itself may stand in front.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_htmx",
    "pgtrigger",
    "pghistory",
    "procrastinate.contrib.django",
    "axes",
    "csp",
    "portal",
    "trials",
    "sawing",
    "grading",
    "reports",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "portal.middleware.refuse_nul",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "pghistory.middleware.HistoryMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "portal.context.navigation",
            ],
            "builtins": ["portal.templatetags.parts"],
        },
    },
]

if os.environ.get("DATABASE_URL"):
    DATABASES = {"default": dj_database_url.config(conn_max_age=60)}
else:
    DATABASES = {
        "default": {
            "ENGINE": "portal.embedded",
            "NAME": "postgres",
            "USER": "postgres",
            "PGDATA": str(HOME / "postgres"),
            "CONN_MAX_AGE": 60,
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "portal.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["username", "full_name", "email"]},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "portal:sign_in"
LOGIN_REDIRECT_URL = "reports:home"
LOGOUT_REDIRECT_URL = "portal:sign_in"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "portal/locked_out.html"

# Every snapshot is written by a trigger once per statement, so that a bulk load pays once, not per row.
PGHISTORY_APPEND_ONLY = True
# Triggers are put in place after every `migrate`, as the code has them; migrations need not repeat them.
PGTRIGGER_MIGRATIONS = False
PGTRIGGER_INSTALL_ON_MIGRATE = True

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = HOME / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG
MEDIA_ROOT = HOME / "uploads"

UPLOAD_LIMIT_BYTES = 50 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "portal.uploads.handlers.SizeLimit",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
FILE_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 20_000

PROCRASTINATE_IMPORT_PATHS = ["portal.jobs.tasks"]

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
SILENCED_SYSTEM_CHECKS: list[str] = []
