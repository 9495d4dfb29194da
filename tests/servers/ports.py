"""Free ports, and waiting until a private server listens on one."""

from __future__ import annotations

import socket
import subprocess
import time

START_SECONDS = 30


def free_port() -> int:
    """A port that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def wait_for(port: int, process: subprocess.Popen[bytes] | None = None) -> bool:
    """Whether somebody listens on this port before the time is up; at once False where the server has ended."""
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        if process is not None and process.poll() is not None:
            return False
        with socket.socket() as probe:
            probe.settimeout(1)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return True
        time.sleep(0.05)
    return False


def stop(process: subprocess.Popen[bytes]) -> None:
    """End a server that a test started."""
    process.terminate()
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(timeout=10)
