"""Pages are tested without a kernel."""

import asyncio.events

import pytest

from forgeprops.show import units as display_units


@pytest.fixture(autouse=True)
def own_jupyter_config(tmp_path, monkeypatch):
    """Neither read nor write the unit choice of whoever runs the tests."""
    monkeypatch.setenv("JUPYTER_CONFIG_DIR", str(tmp_path / "jupyter"))
    monkeypatch.setattr(display_units, "_chosen", [])


@pytest.fixture(autouse=True)
def no_running_loop():
    """The loop of a browser that was driven before in this process is none of ours: pages then work without one."""
    running = asyncio.events._get_running_loop()
    asyncio.events._set_running_loop(None)
    yield
    asyncio.events._set_running_loop(running)
