"""Long work beside the page: progress is shown, Stop stops it, and a fault is told, never swallowed."""

from __future__ import annotations

import threading

from ...base.errors import InputError
from ..markup import note


class Work:
    """Runs one step after the other in a thread, with a progress bar and a Stop button.

    Attributes
    ----------
    widget : ipywidgets.HBox
        Bar, button and a sentence.
    fault : BaseException or None
        What ended the last run early; `join` raises it, so that tests see it.
    """

    def __init__(self):
        import ipywidgets as w

        self.bar = w.IntProgress(value=0, min=0, max=1, layout={"width": "300px"})
        self.stop_button = w.Button(
            description="Stop", icon="stop", disabled=True, layout={"width": "90px"}
        )
        self.bar.add_class("fp-progress")
        self.stop_button.add_class("fp-stop")
        self.said = w.HTML()
        self.said.add_class("fp-progress-words")
        self.widget = w.HBox(
            [self.bar, self.stop_button, self.said], layout={"align_items": "center"}
        )
        self.stop_button.on_click(lambda _: self.stop())
        self.fault: BaseException | None = None
        self._stop, self._thread = threading.Event(), None

    def start(self, items, step, what: str) -> None:
        """Call ``step(item)`` for every item; a run that is under way is stopped first.

        Parameters
        ----------
        items : sequence
        step : callable
        what : str
            Words for one item in the plural ("grades").
        """
        self.stop()
        self.join(raising=False)
        self._stop, self.fault = threading.Event(), None
        self.bar.value, self.bar.max, self.stop_button.disabled = 0, len(items), False
        self._thread = threading.Thread(
            target=self._run, args=(tuple(items), step, what, self._stop), daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Ask the run to stop after the step it is in."""
        self._stop.set()

    def stopping(self) -> bool:
        """Whether Stop was pressed: what a step that takes long asks now and then."""
        return self._stop.is_set()

    def tell(self, words: str) -> None:
        """Say how far a step is that counts by itself."""
        self.said.value = note(words, bad=False)

    def join(self, raising: bool = True) -> None:
        """Wait for the run to end; raise what ended it early."""
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join()
        if raising and self.fault is not None:
            raise self.fault

    def _run(self, items, step, what, stop) -> None:
        self.said.value = note(f"0 of {len(items)} {what}", bad=False)
        try:
            for done, item in enumerate(items, 1):
                if stop.is_set():
                    self.said.value = note(
                        f"stopped after {done - 1} of {len(items)} {what}", bad=False
                    )
                    break
                step(item)
                self.bar.value = done
                self.said.value = note(f"{done} of {len(items)} {what}", bad=False)
        except InputError as error:
            self.fault, self.said.value = error, note(str(error))
        except Exception as error:  # noqa: BLE001  (in a thread nobody else would hear of it)
            self.fault = error
            self.said.value = note(
                f"A fault in the program ended this: {type(error).__name__}: {error}"
            )
        finally:
            self.stop_button.disabled = True
