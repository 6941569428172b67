"""Telling systemd how the service is: ready, alive, what it is busy with, stopping. Elsewhere this does nothing."""

import os
import socket


def notify(*lines: str) -> None:
    """Send state lines (``READY=1``, ``WATCHDOG=1``, ``STATUS=...``, ``STOPPING=1``) if systemd asked for them."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address or not hasattr(socket, "AF_UNIX"):
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            line.connect(address)
            line.sendall("\n".join(lines).encode("utf-8"))
    except OSError:
        pass  # being watched must never be what breaks the service
