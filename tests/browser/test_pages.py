"""Notebooks served as plain pages without code: same panels, no cell to run."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"


@pytest.fixture(scope="module", params=["01_the_head", "08_why_face_and_hosel_differ"])
def served_page(
    request, browser, tmp_path_factory, free_port, wait_for, scratch_environment, notebook_page
):
    """One notebook served by Voilà, open in the browser."""
    pytest.importorskip("voila", reason="page server (extra pages) is not installed")
    folder = tmp_path_factory.mktemp("pages")
    port, log = free_port(), folder / "server.log"
    file = str(FOLDER / f"{request.param}.ipynb")
    command = [sys.executable, "-m", "voila", file, "--no-browser", f"--port={port}",
               "--Voila.ip=127.0.0.1"]  # fmt: skip
    with log.open("wb") as out:
        process = subprocess.Popen(
            command, env=scratch_environment(folder), stdout=out, stderr=subprocess.STDOUT
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/static/voila.js", process, log, any_answer=True)
            page = notebook_page(
                browser.new_page(viewport={"width": 1250, "height": 1100}), f"page {request.param}"
            )
            page.page.goto(
                f"http://127.0.0.1:{port}/", wait_until="domcontentloaded", timeout=120_000
            )
            yield page
            page.page.close()
        finally:
            process.terminate()
            process.wait(20)


def test_page_shows_panels_and_no_code(served_page):
    page = served_page.page
    page.locator(".noUi-handle").first.wait_for(state="attached", timeout=120_000)
    page.wait_for_timeout(1500)
    assert page.locator(".jp-CodeCell .cm-editor, .jp-InputArea-editor").count() == 0
    if "01" in served_page.name:
        old = served_page.picture()
        served_page.press(".fp-flux", "ArrowRight", 4)
        served_page.wait_for_new_picture(old)
        assert re.search(r"about \d+ HV", served_page.words(".fp-headline"))
    else:
        served_page.press(".fp-step-1", "ArrowRight", 3)
        page.locator(".fp-step-1 .fp-show").first.click()
        page.locator(".fp-step-1 img").first.wait_for(timeout=30_000)
    served_page.screenshot(served_page.name.replace(" ", "_"))
    assert served_page.errors == []
