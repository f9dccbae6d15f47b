"""A real browser against a real server with the demo scenario in it."""

import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import connection
from playwright.sync_api import Browser, Page, sync_playwright

from portal.models import User
from reports.demo import load_demo

FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
WIDTHS = {"desk": 1280, "phone": 390}


@pytest.fixture(scope="session", autouse=True)
def _nobody_else_at_the_database(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Servers of journeys may leave a session open; the test database can be dropped only without any."""
    yield
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("The journeys need the package 'chromium' (`make browser`).")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def demo(transactional_db: None, settings: Any, tmp_path: Any) -> None:
    """The demo's material, with passwords kept out of the way of anybody's real demo."""
    settings.MEDIA_ROOT = tmp_path / "uploads"
    settings.HOME = tmp_path
    load_demo()


@pytest.fixture
def sign_in(demo: None, browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """sign_in("edwin", width=1280): a page of that person, on their landing page. Errors in it fail the test."""
    contexts, errors = [], []

    def open_page(username: str, width: int = WIDTHS["desk"]) -> Page:
        user = User.objects.get(username=username)
        user.set_password("a walk in the fells")
        user.save()
        context = browser.new_context(base_url=live_server.url, viewport={"width": width, "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(45_000)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
        page.on("response", lambda r: errors.append(f"{r.status} {r.url}") if r.status >= 500 else None)
        page.goto("/sign-in/")
        page.get_by_label("User name").fill(username)
        page.get_by_label("Password").fill("a walk in the fells")
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert errors == []
