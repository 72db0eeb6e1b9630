"""Settings, all from the environment with safe defaults. DEVELOPERS.md lists the variables."""

import sys
from pathlib import Path

try:  # Debian's SQLite has the published WAL-reset fault; the wheel carries a mended one
    import pysqlite3

    sys.modules["sqlite3"] = pysqlite3
except ImportError:  # another system's Python: its own library is used, and start-up says which
    pass

from shop import environment

BASE_DIR = Path(__file__).resolve().parent.parent
HOME = Path(environment.text("LAYSHAFT_HOME", str(BASE_DIR / "var"))).resolve()
HOME.mkdir(parents=True, exist_ok=True)

SECRET_KEY = environment.text("LAYSHAFT_SECRET_KEY") or environment.secret_key(HOME)
DEBUG = False
TLS = environment.flag("LAYSHAFT_TLS")
PORT = environment.whole("LAYSHAFT_PORT", 8765, most=65535)
PROXY = environment.text("LAYSHAFT_PROXY")  # address of the one proxy whose forwarded headers are believed
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]", *environment.words("LAYSHAFT_HOSTS")]
ADDRESS = environment.text("LAYSHAFT_ADDRESS", f"http{'s' if TLS else ''}://localhost:{PORT}").rstrip("/")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "django_htmx",
    "ninja",
    "shop.apps.ShopConfig",
    "inventory.apps.InventoryConfig",
    "inspections.apps.InspectionsConfig",
    "estimates.apps.EstimatesConfig",
]
MIDDLEWARE = [
    "shop.middleware.TrustedProxy",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "shop.middleware.PrivateAnswers",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shop.middleware.ApiProblems",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.context.places",
            ],
        },
    }
]

DATABASES = {"default": environment.database(environment.text("DATABASE_URL"), HOME)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25  # hours: nobody can lock another out for longer than 15 minutes
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_CALLABLE = "shop.views.locked_out"
AXES_VERBOSE = False
AXES_DISABLE_ACCESS_LOG = True

LANGUAGE_CODE = "en-gb"
USE_TZ = True
TIME_ZONE = environment.time_zone("LAYSHAFT_TIME_ZONE", "Europe/London")
CURRENCY = environment.currency("LAYSHAFT_CURRENCY", "EUR")
TAX_PERMILLE = environment.whole("LAYSHAFT_TAX_PERMILLE", 200, most=1000)
LABOUR_MINOR_PER_HOUR = environment.whole("LAYSHAFT_LABOUR_MINOR_PER_HOUR", 6000)
LABOUR_COST_MINOR_PER_HOUR = environment.whole("LAYSHAFT_LABOUR_COST_MINOR_PER_HOUR", 3200)
ORDER_LINE_MINOR = environment.whole("LAYSHAFT_ORDER_LINE_MINOR", 350)
PARTS_MARGIN_PERMILLE = environment.whole("LAYSHAFT_PARTS_MARGIN_PERMILLE", 250)
SHOP_NAME = environment.text("LAYSHAFT_SHOP_NAME", "Layshaft demonstration shop (invented)")
SHOP_ADDRESS = environment.text("LAYSHAFT_SHOP_ADDRESS")  # one line under the name on a quote

STATIC_URL = "/static/"
STATIC_ROOT = HOME / "static"
MEDIA_ROOT = HOME / "files"  # private: served by views after the ticket's access check, never by address
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = ("map", "woff2", "png", "jpg", "gz", "br")
FILE_UPLOAD_PERMISSIONS = 0o600
DATA_UPLOAD_MAX_MEMORY_SIZE = 40 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
PHOTOGRAPH_MAX_BYTES = 20 * 1024 * 1024
PHOTOGRAPH_MAX_PIXELS = 60_000_000

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = TLS or bool(PROXY)
if SESSION_COOKIE_SECURE:
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"
if PROXY:  # on a machine of its own name; on localhost it would outlive this program in the browser
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
CSRF_FAILURE_VIEW = "django.views.csrf.csrf_failure"
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in environment.words("LAYSHAFT_HOSTS")]
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "blob:", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "worker-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
        "object-src": ["'none'"],
    }
}

locals().update(environment.mail(environment.text("EMAIL_URL"), HOME))
DEFAULT_FROM_EMAIL = environment.text("LAYSHAFT_MAIL_FROM", "layshaft@localhost")

REDIS_URL = environment.text("REDIS_URL")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "shop.logs.JsonLines"}},
    "handlers": {"out": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "root": {"handlers": ["out"], "level": "INFO"},
    "loggers": {
        "fontTools": {"level": "WARNING"},
        "weasyprint": {"level": "ERROR"},
    },
}
SILENCED_SYSTEM_CHECKS = ["security.W008", "security.W019"]
