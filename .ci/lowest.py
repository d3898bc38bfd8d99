"""Print the lowest versions that pyproject.toml promises, as constraints for pip."""

import re
import sys
import tomllib
from pathlib import Path

project = tomllib.loads(
    (Path(__file__).resolve().parent.parent / "pyproject.toml").read_text(encoding="utf-8")
)["project"]
extras = project["optional-dependencies"]
promised = [*project["dependencies"], *(line for lines in extras.values() for line in lines)]
promised = [line for line in promised if not line.startswith(project["name"])]
unbound = [line for line in promised if not re.fullmatch(r"[\w.-]+>=[\d.]+", line)]
if unbound:
    sys.exit(f"pyproject.toml: no lowest version can be read from {', '.join(unbound)}")
print("\n".join(sorted({line.replace(">=", "==") for line in promised})))
