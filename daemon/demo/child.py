"""The service as the demo's child: it ends when the demo does, however the demo ends."""

import signal
import sys
import threading


def _end_with_the_parent() -> None:
    """Wait until the pipe from the demo closes, even by a kill, then ask the service to stop."""
    sys.stdin.buffer.read()
    main_thread = threading.main_thread().ident
    if sys.platform == "win32" or main_thread is None:
        signal.raise_signal(signal.SIGTERM)
    else:  # to the main thread itself: it may be waiting for a lock, which only its own signal interrupts
        signal.pthread_kill(main_thread, signal.SIGTERM)


def main() -> int:
    """Run ``coilwatch start`` with the settings named first on the command line."""
    from daemon.main import main as coilwatch

    threading.Thread(target=_end_with_the_parent, name="parent-watch", daemon=True).start()
    return coilwatch(["start", "--settings", sys.argv[1]])


if __name__ == "__main__":
    sys.exit(main())
