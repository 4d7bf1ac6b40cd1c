"""A real JupyterLab in a real browser: scratch configuration, one fresh kernel per notebook opened."""

import contextlib
import json
import os
import re
import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import expect, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
ARTEFACTS = ROOT / "artefacts"
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()

#: Console errors that are not ours: part of the message → why it is harmless.
HARMLESS = {
    "favicon": "the browser asks for an icon the server does not have",
    "jupyterlab-news": "the news feed is off line",
    "api/lsp": "no language server is installed",
    "net::ERR_INTERNET_DISCONNECTED": "the test machine is off line",
    "net::ERR_NAME_NOT_RESOLVED": "the test machine is off line",
    "voila/api/shutdown": "Voilà does not let a page that is left end its own kernel",
    "cdnjs": "Voilà asks a public server for icon fonts",
}


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser():
    """Headless browser of this machine, never one that playwright fetched; without it tests are skipped, in CI they fail."""
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        words = f"no browser found (looked for {', '.join(BROWSERS)}); apt-get install chromium"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)
    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=found, headless=True, args=FLAGS)
        yield running
        running.close()


@contextlib.contextmanager
def server(folder: Path, command: str, seconds=60.0):
    """Address of a server of Jupyter's, on a free port and with scratch settings in `folder`."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        place = probe.getsockname()
    address, log = "http://{}:{}".format(*place), folder / "server.log"
    command = [sys.executable, "-m", *command.split(), "--no-browser", f"--port={place[1]}"]
    with log.open("wb") as out:
        how = {"stdout": out, "stderr": subprocess.STDOUT, "env": scratch_environment(folder)}
        process = subprocess.Popen(command, **how)
    try:
        end = time.monotonic() + seconds
        while closed(place):
            if process.poll() is not None or time.monotonic() > end:
                said = log.read_text(errors="replace")[-3000:]
                pytest.fail(f"server at {address} did not start:\n{said}")
            time.sleep(0.2)
        yield address
    finally:
        process.terminate()
        try:
            process.wait(20)
        finally:
            process.kill()


def closed(place) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(place) != 0


def scratch_environment(folder: Path) -> dict[str, str]:
    """Environment in which nothing of the user's Jupyter settings is read or written."""
    settings = folder / "config" / "lab" / "user-settings" / "@jupyterlab"
    quiet = {"fetchNews": "false", "checkForUpdates": False}
    whole = {"windowingMode": "none"}  # else cells off screen are not rendered
    for name, content in (
        ("notebook-extension/tracker", whole),
        ("apputils-extension/notification", quiet),
    ):
        path = settings / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(content), encoding="utf-8")
    own = {"JUPYTER_CONFIG_DIR": "config", "JUPYTER_DATA_DIR": "data", "IPYTHONDIR": "ipython"}
    return os.environ | {name: str(folder / part) for name, part in own.items()}


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """Running JupyterLab: (address, folder it serves)."""
    folder = tmp_path_factory.mktemp("lab")
    served = folder / "served"
    served.mkdir()
    # without the check of requests, so that the test itself may end sessions
    command = (
        "jupyterlab --allow-root --ip=127.0.0.1 --ServerApp.port_retries=0 --IdentityProvider.token= "
        f"--ServerApp.password= --ServerApp.disable_check_xsrf=True --ServerApp.root_dir={served}"
    )
    with server(folder, command) as address:
        yield address, served


class NotebookPage:
    """One notebook open in the browser, with what a reader does to it."""

    def __init__(self, page, name: str):
        self.page, self.name = page, name
        self.errors: list[str] = []
        page.on("console", self._listen)
        page.on("pageerror", lambda e: self._heard(str(e)))

    def _listen(self, message) -> None:
        if message.type == "error":
            self._heard(f"{message.text} {(message.location or {}).get('url', '')}")

    def _heard(self, words: str) -> None:
        if not any(part in words for part in HARMLESS):
            self.errors.append(words)

    def run_all(self, seconds: float = 120.0) -> None:
        """Run every cell and wait until the kernel rests."""
        idle = ".jp-Notebook-ExecutionIndicator[data-status=idle]"
        self.page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
        # the kernel is there, not only its indicator
        self.page.get_by_text("| Idle").wait_for(timeout=60_000)
        self.page.wait_for_selector(idle, state="attached", timeout=60_000)
        # JupyterLab asks for a kernel if it is told to run before one answers
        ask = self.page.get_by_role("button", name="Select", exact=True)
        self.page.add_locator_handler(ask, lambda button: button.click())
        self.page.get_by_role("menuitem", name="Run", exact=True).click()
        self.page.locator("#jp-mainmenu-run").get_by_text("Run All Cells", exact=True).click()
        prompts = self.page.locator(".jp-CodeCell .jp-InputPrompt")
        waiting, words = prompts.filter(has_not_text=re.compile(r"\[\d+\]")), "did not run through"
        expect(waiting, f"{self.name} {words}").to_have_count(0, timeout=seconds * 1000)
        self.page.wait_for_selector(idle, state="attached", timeout=seconds * 1000)
        errors = self.page.locator("[data-mime-type='application/vnd.jupyter.stderr']")
        assert errors.all_inner_texts() == []

    def unnamed(self) -> list[str]:
        """Pictures and controls without a name that a screen reader could say."""
        return self.page.evaluate(
            """() => [...document.querySelectorAll(
                 ':is(.jp-OutputArea-output) :is(img.widget-image, input, select, textarea, button, [role=slider])')]
                 .filter(e => !e.hidden && !(e.getAttribute('aria-label') || e.alt || (e.title && e.title !== 'null')
                                || e.labels?.[0]?.textContent.trim() || e.closest('label')?.textContent.trim()
                                || (e.tagName === 'BUTTON' && e.textContent.trim())))
                 .map(e => `${e.tagName} ${e.className} in `
                           + (e.closest('[class*=fp-]')?.className.match(/fp-[-\\w]+/)?.[0] ?? 'the page'))"""
        )

    def words(self, css: str) -> str:
        return self.page.locator(css).first.inner_text()

    def screenshot(self, name: str) -> None:
        """Keep a picture of the page for people to look at (never a baseline)."""
        ARTEFACTS.mkdir(exist_ok=True)
        self.page.screenshot(path=ARTEFACTS / f"{name}.png")


@pytest.fixture(scope="module")
def open_notebook(lab, browser):
    """Function ``open_notebook(path) -> NotebookPage``: a copy with its own kernel, closed after the module.

    A test that fails leaves a picture of its page with the artefacts.
    """
    address, served = lab
    opened = []

    def opener(path, viewport=(1400, 1150)) -> NotebookPage:
        path = Path(path)
        name = f"{len(list(served.iterdir()))}/{path.name}"
        (served / name).parent.mkdir()  # of its own: pages beside each other share a job
        shutil.copy(path, served / name)
        page = browser.new_page(viewport={"width": viewport[0], "height": viewport[1]})
        notebook = NotebookPage(page, path.stem)
        opened.append(notebook)
        page.goto(f"{address}/lab/tree/{name}?reset", wait_until="domcontentloaded")
        return notebook

    yield opener
    for notebook in opened:
        notebook.page.close()
    with urllib.request.urlopen(f"{address}/api/sessions", timeout=10) as answer:
        sessions = json.load(answer)
    for session in sessions:
        end = urllib.request.Request(f"{address}/api/sessions/{session['id']}", method="DELETE")
        urllib.request.urlopen(end, timeout=20)


@pytest.fixture(scope="module")
def notebook(open_notebook, request):
    """The notebook named by ``NOTEBOOK`` in the test module, opened and run."""
    opened = open_notebook(request.module.NOTEBOOK)
    try:
        opened.run_all()
    except BaseException:
        opened.screenshot(f"{opened.name}_did_not_run")
        raise
    return opened


@pytest.fixture(autouse=True)
def no_console_errors(request):
    """After each test: the browser console shows no error, every control and picture has a name; a failed test
    leaves a picture."""
    yield
    page = request.node.funcargs.get("notebook")
    if page is not None:
        if getattr(request.node, "failed", False):
            page.screenshot(f"failed_{request.node.name[:60]}")
        errors, page.errors = page.errors, []
        assert errors == [], f"{page.name}: the browser console shows errors"
        assert page.unnamed() == [], f"{page.name}: a screen reader has no name for these"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if call.when == "call":
        item.failed = report.failed
    return report


def record_time(name: str, taken: list[float]) -> None:
    """Print slider-to-picture times, keep them with the artefacts and hold them to the aim.

    The aim is 100 ms on a machine that does nothing else; the limit is 150 ms there, for the timer's spread.  On a busy
    machine times say little about us, so the limit grows with the load.
    """
    middle = statistics.median(taken)
    busy = max(os.getloadavg()[0] / os.cpu_count(), 1.0) if hasattr(os, "getloadavg") else 1.0
    line = f"{name}: slider to picture median {middle:.0f} ms, worst {max(taken):.0f} ms, load {busy:.1f}"
    print(f"\n{line}")
    ARTEFACTS.mkdir(exist_ok=True)
    with (ARTEFACTS / "slider_to_picture.txt").open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    assert middle < 150.0 * busy**1.5, line
