import resource

import pytest


@pytest.fixture
def files_to_open():
    """Let this process, which is the thousands of clients as well, open more files than usual."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard if hard < 8192 else max(soft, 8192), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
