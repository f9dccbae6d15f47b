"""Environment of a test run, set before Django reads its settings (loaded by `-p tests.environment`).

Tests keep to a home of their own, and never start a journey against anybody's real data.
"""

import os
import tempfile
from pathlib import Path

os.environ["PORTAL_HOME"] = os.environ.get(
    "PORTAL_TEST_HOME", str(Path(__file__).parent.parent / ".local" / "test")
)
os.environ["PORTAL_DATABASE_FOR_TESTS"] = "1"
os.environ["PORTAL_SECRET_KEY"] = "only for tests " + "x" * 40
os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
# Playwright's own event loop runs in the thread of the test.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
