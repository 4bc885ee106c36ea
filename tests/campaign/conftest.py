"""Lets the campaign's tests import its programs, as they import each other."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))
