"""Pages are tested without a kernel."""

import asyncio.events
import importlib.util
import sys
from pathlib import Path

import pytest

from forgeprops.show import units as display_units


def _load(name):
    spec = importlib.util.spec_from_file_location(
        f"forgeprops_tests_show_{name}", Path(__file__).with_name(f"{name}.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def eyes():
    """Simulated colour vision."""
    return _load("eyes")


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
