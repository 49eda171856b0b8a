"""Makes the modules of this directory importable from its tests, whatever directory pytest starts in."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
