"""The page in a real browser, in JupyterLab and under Voilà: what fits, what a reader does, and how quickly it follows."""

import subprocess
import sys
from pathlib import Path

import pytest

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "01_the_head.ipynb"
BOXES = ".rail, .tile, .says, .signs, svg.head, .tabs, .panel"


@pytest.fixture(scope="module")
def served(browser, tmp_path_factory, free_port, wait_for, scratch_environment, notebook_page):
    """The page under Voilà; every request that leaves the machine is refused."""
    pytest.importorskip("voila", reason="page server (extra pages) is not installed")
    folder = tmp_path_factory.mktemp("pages")
    port, log = free_port(), folder / "server.log"
    command = [sys.executable, "-m", "voila", str(NOTEBOOK), "--no-browser", f"--port={port}", "--Voila.ip=127.0.0.1"]  # fmt: skip
    with log.open("wb") as out:
        process = subprocess.Popen(
            command, env=scratch_environment(folder), stdout=out, stderr=subprocess.STDOUT
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/static/voila.js", process, log, any_answer=True)
            opened = notebook_page(browser.new_page(viewport={"width": 1280, "height": 720}), "01")
            opened.page.route(
                lambda url: "127.0.0.1" not in url and not url.startswith(("data:", "blob:")),
                lambda route: route.abort(),
            )
            opened.page.goto(f"http://127.0.0.1:{port}/", timeout=120_000)
            opened.page.wait_for_selector(".fpg .cure", state="attached", timeout=60_000)
            ready(opened.page)
            yield opened
            opened.page.close()
        finally:
            process.terminate()
            process.wait(20)


def ready(page):
    page.wait_for_function(
        "() => { const f = document.querySelector('.fpg'); return f && !f.classList.contains('moving'); }"
    )


def face(page) -> float:
    return float(page.locator("[data-tile=face] .value").inner_text())


def test_everything_stands_inside_the_window(served):
    for size in ((1280, 720), (1440, 900)):
        served.page.set_viewport_size({"width": size[0], "height": size[1]})
        served.page.wait_for_timeout(700)
        for box in served.page.locator(BOXES).all():
            b = box.bounding_box()
            assert b["x"] >= 0 and b["y"] >= 0, box
            assert b["x"] + b["width"] <= size[0] and b["y"] + b["height"] <= size[1], box
    served.page.set_viewport_size({"width": 1280, "height": 720})


def test_keys_remedy_undo_and_pin(served):
    page = served.page
    before = face(page)
    page.get_by_role("button", name="Pin A").click()
    page.locator("[data-name=spray_s]").focus()
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    page.wait_for_function(
        "() => document.querySelector('[data-tile=face]').dataset.level === 'out'"
    )
    assert page.locator("[data-tile=face] .a").inner_text().startswith("A ")
    page.locator(".cure:visible").wait_for(timeout=20_000)
    page.locator(".cure").click()
    page.wait_for_function("() => document.querySelector('.says').dataset.level === 'good'")
    for _ in range(2):  # the remedy, then all the keys at once
        page.get_by_role("button", name="Undo").click()
        ready(page)
    page.wait_for_function(
        f"() => document.querySelector('[data-tile=face] .value').textContent == '{before:.0f}'"
    )
    page.get_by_role("button", name="Unpin A").click()


def test_steel_of_a_row_is_taken_and_units_switch(served):
    page = served.page
    page.get_by_role("tab", name="Steels").click()
    page.get_by_role("button", name="1050", exact=True).click()
    page.wait_for_function("() => document.querySelector('.fpg h1').textContent.startsWith('1050')")
    page.get_by_label("temperature unit").select_option("°F")
    page.wait_for_function("() => /°F/.test(document.querySelector('.fpg .sub').textContent)")
    shown = page.locator(".cols").inner_text()
    assert "°F" in shown and "°C" not in shown
    page.get_by_label("temperature unit").select_option("°C")


def test_names_downloads_and_console(served):
    page = served.page
    with page.expect_download() as got:
        page.get_by_role("button", name="Save", exact=True).click()
    assert got.value.suggested_filename.startswith("job-")
    named = page.evaluate(
        "() => [...document.querySelectorAll('.fpg :is(button, input, select, textarea)')].filter(e =>"
        " !(e.ariaLabel || e.labels?.[0]?.textContent || e.textContent.trim())).map(e => e.outerHTML.slice(0, 80))"
    )
    assert named == []
    assert [e for e in served.errors if "ERR_FAILED" not in e] == []


_EXECUTE = """
async ([code]) => {
  const {kernelId, baseUrl} = JSON.parse(document.getElementById('jupyter-config-data').textContent);
  const socket = new WebSocket(`ws://${location.host}${baseUrl}api/kernels/${kernelId}/channels?session_id=visitor`);
  await new Promise((yes, no) => { socket.onopen = yes; socket.onerror = no; });
  const kinds = [];
  socket.onmessage = (e) => { if (typeof e.data === 'string') kinds.push(JSON.parse(e.data).msg_type); };
  for (const [msg_type, content] of [['execute_request', {code, silent: false}], ['kernel_info_request', {}]])
    socket.send(JSON.stringify({channel: 'shell', parent_header: {}, metadata: {}, buffers: [], content,
      header: {msg_id: msg_type, username: 'v', session: 'visitor', date: new Date().toISOString(), msg_type, version: '5.3'}}));
  await new Promise((yes) => setTimeout(yes, 3000));
  socket.close();
  return kinds;
}"""


def test_a_visitor_reads_and_writes_nothing_on_the_server(served, tmp_path):
    """Uploads and the job stay in the visitor's kernel and browser; no path of the server is shown; no code runs."""
    page, folder = served.page, NOTEBOOK.parent
    before = {f: f.stat().st_mtime_ns for f in folder.rglob("*")}
    page.get_by_role("tab", name="Shop").click()
    page.locator(".fpg input[aria-label=files]").set_input_files(
        [
            {
                "name": "<b>mine.csv",
                "mimeType": "text/csv",
                "buffer": b"head_id,zone,value,scale\n7,face,45,HRC",
            }
        ]
    )
    page.get_by_text("hardness readings").first.wait_for(timeout=20_000)
    page.locator("[data-name=spray_s]").focus()
    page.keyboard.press("ArrowLeft")
    ready(page)
    shown = page.content()
    assert str(folder.parent) not in shown and str(Path.home()) + "/" not in shown
    for name in (
        "01_the_head.ipynb",
        "job.json",
        "../pyproject.toml",
        "..%2fpyproject.toml",
        "%2fetc%2fpasswd",
    ):
        for place in ("voila/files", "files", "api/contents", "voila/static"):
            assert page.request.get(f"{page.url}{place}/{name}").status in (403, 404, 405), (
                place,
                name,
            )
    written = tmp_path / "written"
    kinds = page.evaluate(_EXECUTE, [f"open({str(written)!r}, 'w').close()"])
    assert "kernel_info_reply" in kinds and "execute_reply" not in kinds and not written.exists()
    assert {f: f.stat().st_mtime_ns for f in folder.rglob("*")} == before


def _times(page, record_time, name):
    page.evaluate("() => { window.forgepropsTimes = []; }")
    page.locator("[data-name=preheat_c]").focus()
    for i in range(30):
        page.keyboard.press("ArrowRight" if i % 2 else "ArrowLeft")
        page.wait_for_timeout(150)
    taken = page.evaluate("window.forgepropsTimes")
    assert len(taken) >= 28
    record_time(name, taken)


def test_slider_to_picture_under_voila(served, record_time):
    _times(served.page, record_time, "01_voila")


def test_in_jupyterlab_it_fits_and_shortcuts_stay_out(notebook, record_time):
    page = notebook.page
    page.set_viewport_size({"width": 1280, "height": 720})
    page.wait_for_selector(".fpg", timeout=60_000)
    page.wait_for_timeout(800)
    wide = page.evaluate(
        "() => [...document.querySelectorAll('.fpg :is(.rail, .tile, .tabs)')].filter(e =>"
        " e.scrollWidth > e.clientWidth + 1).map(e => e.className)"
    )
    assert wide == []
    _times(page, record_time, "01_lab")
    cells = page.locator(".jp-Cell").count()
    for key in "abmz":
        page.keyboard.press(key)
    assert page.locator(".jp-Cell").count() == cells
