"""Fixtures shared by all tests."""

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder of real recordings nobody here made; found only through the environment."""
    folder = os.environ.get("SHOPMON_REFERENCE_DATA")
    if not folder:
        pytest.skip("SHOPMON_REFERENCE_DATA is not set: real recordings are not at hand")
    return Path(folder)
