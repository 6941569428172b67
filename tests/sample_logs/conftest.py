"""The sample studio's generator is no package of the product: it is imported from its own folder."""

import sys
from pathlib import Path

SAMPLE_LOGS = Path(__file__).resolve().parents[2] / "sample_logs"
if str(SAMPLE_LOGS) not in sys.path:
    sys.path.insert(0, str(SAMPLE_LOGS))
