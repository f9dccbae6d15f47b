"""The phone's queue, its checks and its screen, in a real browser with a made-up server, clock and store."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from trials.calc.height_curves import band_from_numbers, fit_height_curve

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# A server that keeps what it takes, and fails as often as it is told to; a clock that only moves by hand.
HELPERS = """
const { Queue, Server, PAUSES_S, newIdentity } = await import("/static/trials/field/queue.js");
const { openStore } = await import("/static/trials/field/store.js");
const make = async (failures = [], options = {}) => {
  const store = await openStore("test-" + newIdentity(), newIdentity);
  const world = { requests: [], taken: new Map(), pauses: [], timers: [], now: 0, username: "ann" };
  const clock = {
    now: () => world.now,
    setTimeout: (work, ms) => { world.timers.push({ work, ms }); return world.timers.length - 1; },
    clearTimeout: (at) => { world.timers[at] = null; },
  };
  const json = (status, body) => new Response(JSON.stringify(body), { status });
  const fetch = async (path, { method, body }) => {
    if (method === "GET" && world.signedOut) return json(401, { error: "signed out" });
    if (method === "GET") return json(200, { user: "Ann", username: world.username, csrf: "t" });
    const sent = JSON.parse(body);
    world.requests.push(sent);
    const failure = failures.shift();
    if (failure === "cut") throw new TypeError("cut");
    if (failure === "portal page") return new Response("<html>Welcome to our hotel</html>", { status: 200 });
    if (typeof failure === "number") return json(failure, { error: "no" });
    if (world.spoilt && sent.entries.some((e) => e.id === world.spoilt)) return json(400, { error: "spoilt" });
    for (const entry of sent.entries) world.taken.set(entry.id, entry);
    if (failure === "answer lost") throw new TypeError("answer lost");
    const taken = (e) => ({ id: e.id, taken: true, standing: "current" });
    const not = (e) => ({ id: e.id, taken: false, problems: ["no"] });
    if (failure === "half") return json(200, { answers: sent.entries.slice(0, 1).map(taken) });
    return json(200, { answers: sent.entries.map(failure === "not taken" ? not : taken) });
  };
  const server = new Server({ fetch, clock });
  const queue = new Queue({ store, server, clock, batch: 2, lock: (work) => work(), ...options });
  const value = (number) => ({ assessment: 1, tree: "T" + number, trait: "dbh_mm", kind: "value", number });
  const left = async () => (await store.all("entries")).length;
  const sentNumbers = () => world.requests.map((r) => r.entries.map((e) => e.number));
  const waiting = () => world.timers.filter((t) => t && t.ms !== 30000).map((t) => t.ms / 1000);
  return { store, world, clock, server, queue, value, left, sentNumbers, waiting };
};
"""


@pytest.fixture
def page(browser: Browser, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(base_url=live_server.url, viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.goto("/field/")
    page.wait_for_selector("html[data-ready]")
    yield page
    context.close()


def ran(page: Page, body: str) -> Any:
    return page.evaluate("async () => {" + HELPERS + body + "}")


def test_entries_go_up_in_order_and_leave_only_when_taken(page: Page) -> None:
    found = ran(
        page,
        """const t = await make(["half"]);
        for (const n of [1, 2, 3, 4, 5]) await t.queue.add([t.value(n)]);
        await t.queue.send();
        return [t.sentNumbers(), await t.left(), t.queue.state, t.world.requests[0].entries.map((e) => e.sequence)];""",
    )
    assert found == [[[1, 2], [2, 3], [4, 5]], 0, "idle", [1, 2]]


@pytest.mark.parametrize("failure", ["cut", "portal page", "answer lost", 500, 502, 503, 429])
def test_a_failed_send_keeps_everything_and_the_repeat_sends_the_same(page: Page, failure: Any) -> None:
    found = ran(
        page,
        f"""const t = await make([{json.dumps(failure)}]);
        await t.queue.add([t.value(1), t.value(2)]);
        const first = await t.queue.send();
        const kept = await t.left();
        const second = await t.queue.send();
        const ids = t.world.requests.map((r) => r.entries.map((e) => e.id).join());
        return [first, kept, second, await t.left(), ids[0] === ids[1], t.world.taken.size];""",
    )
    assert found == ["offline", 2, "idle", 0, True, 2]


def test_pauses_grow_and_begin_anew_after_success(page: Page) -> None:
    found = ran(
        page,
        """const t = await make(Array(7).fill("cut"));
        await t.queue.add([t.value(1)]);
        const seen = [];
        for (let n = 0; n < 7; n += 1) {
          await t.queue.send();
          seen.push(t.waiting());
        }
        await t.queue.send();
        return [seen, t.waiting(), t.queue.failures, PAUSES_S];""",
    )
    seen, after, failures, pauses = found
    assert seen == [[pauses[min(n, len(pauses) - 1)]] for n in range(7)]
    assert pauses == sorted(pauses)
    assert (after, failures) == ([], 0)


def test_one_send_at_a_time_and_the_lock_is_released_when_it_breaks(page: Page) -> None:
    found = ran(
        page,
        """const t = await make([]);
        await t.queue.add([t.value(1), t.value(2), t.value(3)]);
        await Promise.all([t.queue.send(), t.queue.send(), t.queue.send()]);
        const once = t.sentNumbers();
        t.queue.lock = () => { throw new Error("no lock"); };
        await t.queue.add([t.value(4)]);
        const broke = [await t.queue.send(), t.queue.why, t.waiting()];
        t.queue.lock = (work) => work();
        await t.queue.send();
        return [once, broke, t.queue.sending, await t.left()];""",
    )
    assert found == [[[1, 2], [3]], ["offline", "no lock", [2]], False, 0]


def test_what_is_typed_while_a_send_comes_to_its_end_goes_up_as_well(page: Page) -> None:
    """The run has looked for the last time, the send is not over yet: nobody else would come back for it."""
    found = ran(
        page,
        """const at_the_end = { drain: async (queue) => {
          if (at_the_end.done) return;
          at_the_end.done = true;
          await queue.add([t.value(2)]);
          await queue.poke();
        } };
        const t = await make([], { photos: at_the_end });
        await t.queue.add([t.value(1)]);
        await t.queue.send();
        return [t.sentNumbers(), await t.left(), t.queue.state];""",
    )
    assert found == [[[1], [2]], 0, "idle"]


def test_while_another_tab_sends_this_one_comes_back_later(page: Page) -> None:
    found = ran(
        page,
        """const { ELSEWHERE } = await import("/static/trials/field/queue.js");
        const t = await make([], { lock: () => ELSEWHERE });
        await t.queue.add([t.value(1)]);
        await t.queue.send();
        return [t.sentNumbers(), t.waiting()];""",
    )
    assert found == [[], [2]]


def test_a_draft_is_kept_and_never_sent(page: Page) -> None:
    found = ran(
        page,
        """const t = await make([]);
        await t.queue.draft(1, "T1", { dbh_mm: "18" });
        await t.queue.send();
        const exported = await t.queue.exportUnsent();
        return [t.world.requests.length, exported.drafts.length, (await t.store.all("drafts")).length];""",
    )
    assert found == [0, 1, 1]


def test_one_spoilt_entry_does_not_stop_the_others(page: Page) -> None:
    found = ran(
        page,
        """const t = await make([], { batch: 4 });
        const kept = await t.queue.add([1, 2, 3, 4].map(t.value));
        t.world.spoilt = kept[1].id;
        await t.queue.send();
        const refused = await t.store.all("refused");
        const reasons = refused.map((r) => [r.number, r.problems]);
        return [t.world.taken.size, await t.left(), reasons, await t.queue.unsent()];""",
    )
    assert found == [3, 0, [[2, ["spoilt"]]], 1]


def test_what_the_server_does_not_take_stays_on_the_phone(page: Page) -> None:
    found = ran(
        page,
        """const t = await make(["not taken"]);
        await t.queue.add([t.value(1)]);
        await t.queue.send();
        const exported = await t.queue.exportUnsent();
        const refused = (await t.store.all("refused")).length;
        await t.store.again();
        await t.queue.send();
        return [exported.refused.length, refused, t.world.taken.size, await t.queue.unsent()];""",
    )
    assert found == [1, 1, 1, 0]


def test_signed_out_or_another_person_sends_nothing(page: Page) -> None:
    found = ran(
        page,
        """const t = await make([]);
        t.queue.person = { username: "ann" };
        await t.queue.add([t.value(1)]);
        t.world.signedOut = true;
        const out = await t.queue.send();
        t.world.signedOut = false;
        t.world.username = "ben";
        const other = await t.queue.send();
        const before = t.world.requests.length;
        t.queue.standsFor = true;
        const allowed = await t.queue.send();
        return [out, other, before, allowed, await t.left()];""",
    )
    assert found == ["signed out", "other person", 0, "idle", 0]


def test_an_export_comes_back_as_it_was_made_and_a_spoilt_one_is_refused_whole(page: Page) -> None:
    found = ran(
        page,
        """const one = await make(["cut"]), two = await make([]);
        await one.queue.add([one.value(1), one.value(2), one.value(3)]);
        await one.queue.send();
        const file = JSON.parse(JSON.stringify(await one.queue.exportUnsent()));
        const back = await two.queue.restore(file);
        const twice = await two.queue.restore(file);
        await two.queue.send();
        const sent = [...two.world.taken.values()].map((e) => e.sequence);
        const devices = new Set(two.world.requests.map((r) => r.device));
        const spoilt = { ...file, entries: [...file.entries, { id: 5 }] };
        const words = await two.queue.restore(spoilt).then(() => "taken", (e) => e.message);
        return [back, twice, sent, [...devices].length === 1 && devices.has(file.device), words, await two.left()];""",
    )
    assert found[:4] == [3, 0, [1, 2, 3], True]
    assert "1 of 4 entries in this file cannot be read" in found[4]
    assert found[5] == 0


def test_identities_without_https_are_of_version_4_too(page: Page) -> None:
    """RFC 9562, section 5.4 (from memory, check against the published text): version 4, variant 10."""
    found = ran(
        page, """return newIdentity({ getRandomValues: (b) => globalThis.crypto.getRandomValues(b) });"""
    )
    assert re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", found)


# What the phone asks about

TRAITS = [
    {"code": "dbh_mm", "kind": "number", "unit": "mm", "minimum": 1, "maximum": 600, "shrinks": False},
    {"code": "height_m", "kind": "number", "unit": "m", "minimum": 0.5, "maximum": 40, "shrinks": False},
]


@pytest.mark.parametrize(
    ("trait", "value", "last", "now", "asked"),
    [
        (0, 182, 176, {}, ""),
        (0, 175, 176, {}, ""),  # a mm or two is reading, not shrinking
        (0, 170, 176, {}, "shrank"),
        (0, 553, 176, {}, "circumference"),
        (0, 1760, 176, {}, "ten times too much"),
        (0, 17, 176, {}, "ten times too little"),
        (0, 320, 176, {}, "growth"),
        (0, 650, None, {}, "above 600"),
        (0, 0, None, {}, "below 1"),
        (1, 7.5, 7.0, {"dbh_mm": 150}, ""),
        (1, 39, None, {"dbh_mm": 150}, "slender"),
        (1, 2, None, {"dbh_mm": 150}, "stout"),
        (1, 1.1, None, {"dbh_mm": 20}, "below breast height"),
        (1, 19, None, {"dbh_mm": 150}, "usual is"),
    ],
)
def test_doubts(
    page: Page, trait: int, value: float, last: float | None, now: dict[str, float], asked: str
) -> None:
    """Which values are asked about is our own rule; pi and the factor 10 are arithmetic."""
    code = TRAITS[trait]["code"]
    tree = {"last": {} if last is None else {code: last}, "last_on": {code: "2023-09-01"}}
    pack = {"traits": TRAITS, "measured_from": "2026-09-01", "band": curve()}
    found = page.evaluate(
        """async ([trait, value, about]) => {
          const { doubts } = await import("/static/trials/field/checks.js");
          return doubts(trait, value, about);
        }""",
        [TRAITS[trait], value, {"tree": tree, "now": now, "pack": pack}],
    )
    assert asked in (found[0] if found else "")
    assert bool(found) == bool(asked)


def curve() -> dict[str, float]:
    dbh = [60.0 + 10 * n for n in range(16)]
    height = [1.3 + (d / (20 + 0.27 * d)) ** 2 + (0.4 if n % 2 else -0.4) for n, d in enumerate(dbh)]
    return fit_height_curve(dbh, height, power=2.0).numbers()


def test_the_phone_draws_the_same_height_band_as_the_server(page: Page) -> None:
    """Two writings of one formula; the server's is checked in tests/published/test_height_curves.py."""
    numbers = curve()
    diameters = [40.0, 50.0, 100.0, 150.0, 260.0, 263.0, 400.0]
    found = page.evaluate(
        """async ([curve, all]) => {
          const { heightBand } = await import("/static/trials/field/checks.js");
          return all.map((d) => heightBand(curve, d));
        }""",
        [numbers, diameters],
    )
    expected = [band_from_numbers(numbers, d) for d in diameters]
    assert [b is None for b in found] == [b is None for b in expected]
    for phone, server in zip(found, expected, strict=True):
        if server is not None:
            assert phone == pytest.approx(server)


@pytest.mark.parametrize(
    ("typed", "place"),
    [
        ("F-01-02", 1),
        (" f-01-02 ", 1),
        ("https://portal.example.org/trees/small/tree/F-01-02/", 1),
        ("02-01", 2),
        ("01", None),  # two trees end so
        ("1-02", None),  # the end of a number is no end of a code
        ("", None),
    ],
)
def test_a_typed_or_scanned_code_finds_one_tree_or_none(page: Page, typed: str, place: int | None) -> None:
    found = page.evaluate(
        """async (typed) => {
          const { Walk } = await import("/static/trials/field/walk.js");
          const trees = ["F-01-01", "F-01-02", "F-02-01"].map((code) => ({ code }));
          return new Walk({ traits: [], trees }).find(typed);
        }""",
        typed,
    )
    assert found == place
