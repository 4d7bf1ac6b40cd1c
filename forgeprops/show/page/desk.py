"""The desk: one job that every page and tab shares, with its steps back and forward, a pinned one, and its file."""

import os
import time
from pathlib import Path

import traitlets as t

from ...base.errors import InputError
from ...inputs.job import Job, load_job
from ...io.reading import read_source
from ...io.writing import update_bytes
from ..units import Units, units
from .fields import FURTHER, MAIN

#: Steps that can be undone; keys pressed on one setting within this time are one step, s.
STEPS, ONE_STEP_S = 100, 1.0
#: Note to the reader where a page or a script beside this one has written the job.
_OTHER = "Another page or script changed this job; {} one step back (Undo)."


def served() -> bool:
    """Whether a page server shows the page: then the job stays in the reader's browser, never on the server."""
    return os.environ.get("SERVER_SOFTWARE", "").lower().startswith("voila")


class Desk(t.HasTraits):
    """The one shared thing: whoever shows the job observes `job`, none keeps a copy.

    With a `path` the job is written whole on every finished change, and read when it is there at the start.  `note` says
    what went wrong last, in one sentence; `past` and `future` are the jobs to step to.

    >>> desk = Desk()
    >>> desk.move(spray_s=6); desk.move(spray_s=7); desk.commit()
    >>> desk.set(preheat_c=900); desk.undo(); (desk.job.value("spray_s"), len(desk.past))
    (7.0, 1)
    """

    job = t.Instance(Job)
    pinned = t.Instance(Job, allow_none=True)
    units = t.Instance(Units)
    note = t.Unicode()
    reading_hv = t.Float(0.0)  # a hosel hardness that was read, for the bench

    def __init__(self, job: Job | None = None, path: str | os.PathLike | None = None):
        self._path, self._seen = Path(path) if path else None, None
        kept, note = None, ""
        if self._path is not None and self._path.exists():
            try:
                kept, self._seen = self._read()
            except InputError as error:  # kept as it is under another name, never written over
                stem, ends = f".unread-{time.strftime('%Y%m%d-%H%M%S')}", ("", *range(2, 1000))
                names = (self._path.with_suffix(f"{stem}{n}.json") for n in ends)
                aside = next(path for path in names if not path.exists())
                self._path.replace(aside)
                note = f"{error} The file is kept as {aside.name}."
        super().__init__(job=job or kept or Job(), units=units(), note=note)
        self.kept: dict = {}  # what tabs keep beside the job, by their names
        self.unsaved = False
        self.past, self.future, self._mark, self._what, self._when = [], [], None, (), 0.0

    @property
    def keeps(self) -> bool:
        """Whether the job has a file."""
        return self._path is not None

    def move(self, **changes) -> None:
        """Change the job on its way, as a slider does: a step back waits for `commit`."""
        before = self.job
        self.job = before.with_(**changes)
        self._mark = self._mark or before

    def commit(self, merge: bool = False, save: bool = True) -> None:
        """End a change: one step back, and the file.  With `merge`, changes of one setting at once are one step."""
        if self._mark is not None and self._mark != self.job:
            what = tuple(differences(self._mark, self.job))
            if not (merge and what == self._what and time.monotonic() - self._when < ONE_STEP_S):
                self.past = [*self.past[1 - STEPS :], self._mark]
            self.future, self._what, self._when = [], what, time.monotonic()
            self.unsaved = True
            if save:
                self.save()
        self._mark = None

    def set(self, **changes) -> None:
        """Change the job in one step."""
        self.take(self.job.with_(**changes))

    def take(self, job: Job) -> None:
        """Another job in one step."""
        self._mark, self.job, self._what = self._mark or self.job, job, ()
        self.commit()

    def undo(self, steps: int = 1) -> None:
        self._step(self.past, self.future, steps)

    def redo(self) -> None:
        self._step(self.future, self.past, 1)

    def _step(self, source: list, other: list, steps: int) -> None:
        self.commit()
        for _ in range(min(steps, len(source))):
            other.append(self.job)
            self.job = source.pop()
        self._what = ()
        self.save()

    def pin(self) -> None:
        """Pin the job as A to compare with, or take the pin out."""
        self.pinned = None if self.pinned is not None else self.job

    def _read(self) -> tuple[Job, bytes]:
        data = read_source(self._path).data
        return load_job(data, self._path.name), data

    def save(self) -> None:
        """Write the job's file; what another page or a script wrote since is one step back, and a note says so."""
        self.unsaved = False
        if self._path is None:
            return

        def mine(found: bytes | None) -> bytes:
            if found is not None and found != self._seen:
                other = load_job(found, self._path.name)
                if other != self.job:
                    self.past = [*self.past[1 - STEPS :], other]
                    self.note = _OTHER.format("theirs are")
            self._seen = self.job.as_bytes()
            return self._seen

        try:
            update_bytes(self._path, mine)
        except (OSError, InputError) as error:
            self.note = f"The job is not saved: {error}"

    def look(self) -> None:
        """Take the job that another page or a script has written meanwhile."""
        if self._path is None or self._mark is not None or not self._path.exists():
            return
        try:
            found, data = self._read()
        except (OSError, InputError):  # not whole yet, or another program's: look again later
            return
        other, self._seen = data != self._seen and found != self.job, data
        if other:
            self.past, self.future = [*self.past[1 - STEPS :], self.job], []
            self.note, self._what = _OTHER.format("yours are"), ()
            self.job = found


def differences(a: Job, b: Job) -> dict[str, tuple]:
    """What differs between two jobs: setting or part → (in a, in b)."""
    found = {}
    for part in ("steel", "head", "shop"):
        if getattr(a, part) != getattr(b, part):
            found[part] = getattr(a, part).name, getattr(b, part).name
    pairs = {n: (a.route.setting(n), b.route.setting(n)) for n in (*MAIN, *FURTHER)}
    found |= {n: (old, new) for n, (old, new) in pairs.items() if old != new}
    if a.route.surroundings != b.route.surroundings:
        found["cooling"] = a.route.surroundings, b.route.surroundings
    for name in ("limits", "bench", "strike"):
        if getattr(a, name) != getattr(b, name):
            found[name] = str(getattr(a, name)), str(getattr(b, name))
    if a.route.later != b.route.later:
        found["later heats"] = len(a.route.later), len(b.route.later)
    return found or ({} if a == b else {"route": ("", "")})
