"""The page: one widget with rail, head, tiles and tabs on the job of a `Desk`."""

import asyncio
import contextlib
import threading
import time
from dataclasses import replace

import traitlets as t

from ...answer.estimate import estimate
from ...answer.verdict import verdict_of
from ...base.cautions import CAUTIONS, SHORT
from ...base.errors import InputError
from ...inputs.grades import grades, steel_of
from ...inputs.head import heads
from ...inputs.job import Job, load_job
from ...inputs.settings import COOLING_WORDS
from ...inputs.templates import head_from
from ..units import choose_units
from . import answer
from .blocks import Stopped, Widget
from .desk import Desk, served
from .fields import FURTHER, MAIN, PURPOSES, changes_of, limits_with
from .maps import strips
from .tabs import TABS

#: How long a slider must rest until everything about the job is calculated, s.
REST_S = 0.25
#: How long a slider must rest until the verdict follows, and how far it may stay behind hardness and curves, s.
FOLLOW_S, MOST_S = 0.06, 0.2
#: Work that takes longer shows its share and the time left, s.
SLOW_S = 0.4


class Page(Widget):
    """Rail, head, tiles and tabs of one job; `tab`, a name in `tabs.TABS`, is open first."""

    scripts = ("plot.js", "page.js")
    # page → kernel: a slider on its way, the newest counts
    move = t.Dict().tag(sync=True, echo_update=False)
    first = t.Dict().tag(sync=True)  # kernel → page: hardness while a slider moves
    state = t.Dict().tag(sync=True)  # kernel → page: the answer
    curves = t.Unicode().tag(sync=True)
    ghost = t.Unicode().tag(sync=True)
    more = t.Dict().tag(sync=True)  # strips, remedy, numbers: calculated at rest
    content = t.Dict().tag(sync=True)  # the open tab's blocks
    busy = t.Dict().tag(sync=True)  # long work: share done, time left
    saved = t.Unicode().tag(sync=True)  # the job's file

    def __init__(self, desk: Desk | None = None, tab: str = "why"):
        self.desk, self._tab = desk or Desk(), tab if tab in TABS else "why"
        self._version = self._turn = self._until = 0
        self._pinned = self._remedy = self._task = self._moving = self._due = None
        self._stop = threading.Event()
        self._result = self._verdict = None
        static = {
            "steels": list(grades()), "heads": list(heads()), "cooling": COOLING_WORDS, "main": MAIN, "further": FURTHER,
            "purposes": list(PURPOSES), "tabs": {n: tab.title for n, tab in TABS.items()}, "tab": self._tab,
            "keeps": self.desk.keeps, "caution": SHORT, "cautions": CAUTIONS, "headNumbers": answer.HEAD_NUMBERS,
        }  # fmt: skip
        super().__init__(static=static)
        self.desk.observe(self._changed, ["job", "units"])
        self.desk.observe(self._pin_changed, ["pinned", "units"])
        self.observe(self._moved, "move")
        self.on_msg(self._heard)
        self._answer(full=True)
        self._settle()

    def _moved(self, change) -> None:
        given, self._moving = change.new.get("set"), change.new
        if given:
            self._try(lambda: self.desk.move(**changes_of(self.desk.job, self.desk.units, given)))
        self._moving = None

    def _heard(self, _, message: dict, buffers) -> None:
        desk, do, remedy = self.desk, message.get("do"), self._remedy
        act = {
            "commit": lambda: self._commit(message.get("set")),
            "undo": lambda: desk.undo(int(message.get("steps", 1))),
            "redo": desk.redo,
            "pin": desk.pin,
            "load": lambda: desk.take(load_job(message["text"].encode(), "job file")),
            "units": lambda: self._units(message),
            "limit": lambda: self._limit(message),
            "steel": lambda: desk.set(steel=replace(steel_of(message["text"]), name="own steel")),
            "head": lambda: self._head(message["set"]),
            "remedy": lambda: remedy and desk.set(route=remedy.route, steel=remedy.steel),
            "tab": lambda: self._open_tab(message["tab"]),
            "act": lambda: self._act(message, buffers),
            "stop": lambda: self._stop.set(),
        }.get(do)
        if act is not None:
            self._try(act)
            self._push()

    def _try(self, act) -> None:
        self.desk.note = ""
        try:
            act()
        except InputError as error:
            self.desk.note = str(error)
            self._push()

    def _commit(self, given) -> None:
        if given:
            self.desk.set(**changes_of(self.desk.job, self.desk.units, given))
        else:
            self.desk.commit(merge=True, save=False)  # saved when the slider rests

    def _units(self, message) -> None:
        temperature, length, hardness = message["units"]
        chosen = {"temperature": temperature, "length": length, "hardness": hardness}
        us = {"flow": "gpm", "force": "lbf", "strength": "ksi"} if length == "in" else {}
        self.desk.units = choose_units(**chosen, **us, keep=not served())

    def _limit(self, message) -> None:
        value = message["value"]
        if message["name"] == "bar_force_n" and value is not None:
            value = round(value / self.desk.units.convert(1.0, "N"), 1)
        end = message["name"], int(message["end"]), value
        self.desk.set(limits=limits_with(self._result.limits, self.desk.units, *end))

    def _head(self, given: dict) -> None:
        unit = self.desk.units.convert(1.0, "mm")
        n = {k: v / (1.0 if k == "mass_g" else unit) for k, v in given.items() if v is not None}
        parts = answer.HEAD_NUMBERS[2:4], answer.HEAD_NUMBERS[4:]
        blade, hosel = (tuple(map(n.get, p)) if n.keys() >= set(p) else None for p in parts)
        given = n.get("mass_g"), n.get("face_mm"), blade, hosel
        self.desk.set(head=head_from(*given, self.desk.job.head))

    def _open_tab(self, name: str) -> None:
        self._tab = name if name in TABS else "why"
        self._settle(0.0)

    def _act(self, message, buffers) -> None:
        name, values = message["act"], message.get("values", {})
        acts, slow = TABS[self._tab].acts, TABS[self._tab].slow.get(name)
        if name in acts:
            acts[name](self.desk, values)
            return self._settle(0.0)
        if buffers:
            values = {**values, "buffers": [bytes(b) for b in buffers]}
        self._settle(0.0, slow and (lambda desk, result, say: slow(desk, result, values, say)))

    def _changed(self, _) -> None:
        self._version += 1
        if self._moving is None:
            self._answer(full=False)
        else:
            self._begin_answer()
        self._settle()

    def _pin_changed(self, _) -> None:
        self._pinned, self.ghost = None, ""
        if (pinned := self.desk.pinned) is not None:
            result = estimate(pinned)
            self._pinned = pinned, result, result.verdict
            self.ghost = answer.curves_of(result.evaluation, self.desk.units)
        self._push()

    def _begin_answer(self) -> None:
        """Hardness and curves at once, by one march; the verdict follows, for all moves until then."""
        try:
            first, curves = answer.first_of(self.desk.job, self.desk.units)
        except InputError:  # the whole answer says why
            return self._answer(full=False)
        with self.hold_sync():
            self.first, self.curves = first | {"n": self._moving.get("n")}, curves
        loop = _loop()
        if loop is None:
            return self._answer(full=False)
        now, until = loop.time(), self._until
        if self._due is None:
            until = self._until = now + MOST_S
        else:
            self._due.cancel()
        self._due = loop.call_at(min(now + FOLLOW_S, until), self._answer, False)

    def _answer(self, full: bool) -> None:
        """With the doubt of the last full answer while a slider moves, by the verdict's own draw at rest."""
        if self._due is not None:
            self._due.cancel()
            self._due = None
        job = self.desk.job
        try:
            result = estimate(job)
            like = None if full else self._verdict
            verdict = result.verdict if full else verdict_of(result, like=like)
        except InputError as error:  # a case that the formulas do not take: the last answer stays
            self.desk.note = str(error)
            if self._result is None:
                raise
            self._push()
            return
        self._result, self._verdict, self._full = result, verdict, full
        self._state = answer.state_of(job, result, verdict, self.desk.units, self._pinned)
        self._push()

    def _push(self) -> None:
        if self._due is not None:  # all is pushed then
            return
        d = self.desk
        extra = {
            "version": self._version, "exact": self._full, "note": d.note, "undo": len(d.past), "redo": len(d.future),
            "pinned": d.pinned is not None,
        }  # fmt: skip
        if self._full:
            pairs = zip(d.past[-8:], [*d.past[-7:], d.job], strict=False)
            extra["steps"] = [answer.change_words(a, b, d.units) for a, b in pairs][::-1]
        with self.hold_sync():
            self.state = self._state | extra
            self.curves = answer.curves_of(self._result.evaluation, d.units)

    def _settle(self, after_s: float = REST_S, work=None) -> None:
        """Everything else about the job, once it rests; `work` makes the open tab's content instead of the tab."""
        self._turn += 1
        self._stop.set()
        self._stop = threading.Event()
        rest, loop = self._rest(self._turn, after_s, self._stop, work), _loop()
        self._task = loop.create_task(rest) if loop else asyncio.run(rest)

    async def _rest(self, turn: int, after_s: float, stop: threading.Event, work) -> None:
        if after_s:
            await asyncio.sleep(after_s)
        if turn != self._turn:
            return
        if self.desk.unsaved:
            self.desk.save()
        if not self._full:
            self._answer(full=True)
        desk, result, version, tab = self.desk, self._result, self._version, self._tab
        units = desk.units
        self.saved = desk.job.as_bytes().decode()
        if self.more.get("version") != version:
            found = await asyncio.to_thread(strips, desk, result, MAIN)
            if turn != self._turn:
                return
            numbers = answer.numbers_of(desk.job, result, result.verdict, units)
            self.more = {"version": version, "strips": found, "numbers": numbers}
        blocks = await self._beside(work or TABS[tab].content, turn, stop)
        if turn != self._turn:
            return
        if blocks is not None:
            self.content = {"version": version, "tab": tab, "blocks": blocks}
        if "remedy" not in self.more:
            self._remedy = await asyncio.to_thread(lambda: result.verdict.remedy)
            if turn != self._turn:
                return
            said, r = None, self._remedy
            if r is not None:
                said = {"label": answer.remedy_label(desk.job, r, units), "costs": r.costs}
                said["gives"] = f"{100 * r.chance_right:.0f} % sure"
            self.more = self.more | {"remedy": said}

    async def _beside(self, work, turn: int, stop: threading.Event) -> list[dict] | None:
        """Blocks made beside the page, with the share done, the time left and a stop; None where it was stopped."""
        loop, begin = asyncio.get_running_loop(), time.monotonic()

        def say(share: float, words: str) -> None:
            took = time.monotonic() - begin
            if turn == self._turn and took > SLOW_S and not stop.is_set():
                left = took * (1.0 / max(share, 0.01) - 1.0)
                words = f"{words}{', ' * bool(words)}about {left:.0f} s left"
                self.busy = {"words": words, "share": share}

        def progress(share: float, words: str = "") -> None:
            loop.call_soon_threadsafe(say, share, words)
            if stop.is_set():
                raise Stopped

        try:
            blocks, busy = await asyncio.to_thread(work, self.desk, self._result, progress), {}
        except InputError as error:
            blocks, busy = [{"kind": "text", "words": str(error), "look": "stop"}], {}
        except Stopped:
            blocks, busy = None, {"words": "Stopped. What is shown is of earlier settings."}
        if turn == self._turn and self.busy != busy:
            self.busy = busy
        return blocks


def _loop() -> asyncio.AbstractEventLoop | None:
    """The loop that runs here; None in a script or a test."""
    with contextlib.suppress(RuntimeError):
        return asyncio.get_running_loop()
    return None


async def _watch(page: Page) -> None:
    """Take over what another page writes into the same job file."""
    while page.comm is not None:
        await asyncio.sleep(1.0)
        page.desk.look()


def page(tab: str = "why", job: Job | None = None, file: str | None = "job.json") -> Page:
    """The page on the shared job, with `tab` ("why", "steels", "window", "bending", "later", "sure" …) open first.

    The job is kept in `file` beside the notebook, under a page server in the reader's browser; `job` stands for it.
    """
    shown = Page(Desk(job, None if served() else file), tab)
    if shown.desk.keeps and (loop := _loop()):
        shown._watching = loop.create_task(_watch(shown))
    return shown
