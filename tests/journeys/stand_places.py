"""A site of 200 trees with an assessment, and phones that measure it."""

import datetime as dt
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Browser, BrowserContext, Page
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from portal.models import Membership, Role, User
from tests.conftest import Place
from trials.entries.actions import add_trait, open_assessment
from trials.models import Assessment, Trait

ROWS, COLS = 10, 20
WORDS = ["straight", "slight bow", "one bend", "two bends", "crooked"]
STRAIGHTNESS = [{"value": value, "text": text} for value, text in enumerate(WORDS, start=1)]
PASSWORD = "a walk in the fells"


def plant(place: Place) -> None:
    """Ten rows of twenty trees, a plot each."""
    place.bring("clones", "clone,kind\nK1,hybrid\nK2,hybrid\n")
    lines = [
        f"F,{row},{(row - 1) * COLS + col},K{1 + (row + col) % 2},F-{row:02}-{col:02},{row},{col}"
        for row in range(1, ROWS + 1)
        for col in range(1, COLS + 1)
    ]
    upload = place.bring("layout", "site,block,plot,clone,tree,row,col\n" + "\n".join(lines) + "\n")
    assert upload.held == 0


def traits_of(place: Place) -> list[Trait]:
    """Diameter, height, a described scale, yes or no."""
    manager = place.people["manager"]
    described: list[dict[str, Any]] = [
        {"code": "dbh_mm", "name": "Diameter", "unit": "mm", "minimum": 1, "maximum": 600},
        {"code": "height_m", "name": "Height", "unit": "m", "minimum": 0.5, "maximum": 40, "decimals": 1},
        {"code": "straightness", "name": "Straightness", "kind": "ordinal", "points": STRAIGHTNESS},
        {"code": "forked", "name": "Forked", "kind": "yes_no"},
    ]
    return [add_trait(trial=place.trial, by=manager, **d) for d in described]


def begin_assessment(place: Place) -> Assessment:
    """The open assessment of the planted site, with an earlier one that knows the diameters of row 1."""
    plant(place)
    traits = traits_of(place)
    return open_assessment(
        site=place.trial.sites.get(code="F"),
        name="Age 12",
        measured_from=dt.date(2026, 9, 1),
        traits=traits,
        by=place.people["manager"],
    )


def second_crew(place: Place) -> User:
    """Another person of the field crew."""
    user = User.objects.create_user("second", full_name="The second crew")
    Membership.objects.create(user=user, trial=place.trial, role=Role.FIELD_CREW)
    place.people["second"] = user
    return user


def give_password(user: User) -> None:
    """A password that a server with ordinary settings can check."""
    user.password = PBKDF2PasswordHasher().encode(PASSWORD, "salt for tests 0123456789", iterations=1000)
    user.save()


def session_cookie(user: User, url: str) -> dict[str, Any]:
    """The cookie of a signed-in person; it outlives closing the browser, as the portal's own does."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    expires = time.time() + settings.SESSION_COOKIE_AGE
    name = settings.SESSION_COOKIE_NAME
    return {"name": name, "value": str(session.session_key), "url": url, "expires": expires}


class Phone:
    """One phone: a browser with a folder of its own that outlives closing it."""

    def __init__(self, browser: Browser, folder: Path, url: str, flags: list[str]) -> None:
        self.browser, self.folder, self.url, self.flags = browser, folder, url, flags
        self.context: BrowserContext
        self.page: Page
        self.errors: list[str] = []
        self.open()

    def open(self, offline: bool = False) -> Page:
        """Start the browser; what it kept is there again."""
        self.context = self.browser.browser_type.launch_persistent_context(
            str(self.folder),
            executable_path=self.flags[0],
            args=self.flags[1:],
            viewport={"width": 360, "height": 740},
            base_url=self.url,
            color_scheme="light",
            accept_downloads=True,
        )
        self.context.set_offline(offline)
        self.page = self.context.pages[0]
        self.page.set_default_timeout(60_000)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._listen)
        return self.page

    def _listen(self, message: Any) -> None:
        # A cut line and a refusal are logged by the browser itself; the page must not log anything of its own.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.errors.append(message.text)

    def close(self) -> None:
        self.context.close()

    def sign_in(self, user: User) -> None:
        self.context.clear_cookies()
        self.context.add_cookies([session_cookie(user, self.url)])

    def visit(self) -> Page:
        """The page in the stand, once it has read what it kept."""
        self.page.goto("/field/")
        self.page.wait_for_selector("html[data-ready]")
        return self.page

    def take_along(self, user: User) -> Page:
        """Sign in, fetch the assessment while there is network, and wait until the page itself is kept."""
        self.sign_in(user)
        page = self.visit()
        page.evaluate("navigator.serviceWorker.ready.then(() => caches.keys())")
        self.wait_until("navigator.serviceWorker.controller !== null")
        begin = page.get_by_role("button", name="Begin the walk")
        for _ in range(3):  # a busy machine may be slow to answer: a person taps again
            page.get_by_role("button", name="Take along").click()
            try:
                begin.wait_for(timeout=20_000)
            except PlaywrightTimeoutError:
                self.visit()
                continue
            return page
        raise AssertionError("the assessment cannot be taken along")

    def tap(self, *keys: str) -> None:
        """Real taps: digits by their key, scale values by their value, commands by their name."""
        for key in keys:
            names = (f"[data-key='{key}']", f"[data-command='{key}']", f"[data-value='{key}']")
            self.page.locator("#keys").locator(", ".join(names)).first.click()
            self.wait_until("!field.stand.busy")

    def unsent(self) -> int:
        return int(self.page.evaluate("field.queue.unsent()"))

    def wait_until_sent(self) -> None:
        self.wait_until("field.queue.unsent().then((n) => n === 0 && field.queue.state === 'idle')")

    def wait_until(self, condition: str, patience_s: float = 90.0) -> None:
        """Playwright's own waiting needs eval, which the page's policy forbids."""
        deadline = time.monotonic() + patience_s
        while not self.page.evaluate(condition):
            assert time.monotonic() < deadline, f"{condition}: not in {patience_s:g} s"
            time.sleep(0.02)

    def walk_by_functions(self, values: dict[str, dict[str, str]]) -> None:
        """Trees in walking order from where the phone stands, through what the keys call."""
        self.page.evaluate(
            """async (values) => {
              const { stand } = field;
              while (values[stand.tree.code]) {
                const tree = stand.tree.code;
                for (const trait of stand.walk.pack.traits) {
                  stand.type(values[tree][trait.code]);
                  await stand.command("next");
                  const isLast = trait === stand.walk.pack.traits.at(-1);
                  if (!document.getElementById("doubt").hidden && !isLast) {
                    throw new Error(document.getElementById("question").textContent);
                  }
                }
                if (stand.tree.code === tree) break;
              }
            }""",
            values,
        )


@contextmanager
def phone(browser: Browser, folder: Path, url: str, flags: list[str]) -> Iterator[Phone]:
    """A phone that is closed at the end, and that had no errors."""
    made = Phone(browser, folder, url, flags)
    try:
        yield made
    finally:
        made.close()
    assert made.errors == []
