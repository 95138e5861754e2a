"""``python -m gateway.standard.generate``: write the tables anew, or tell with ``--check`` whether they are current."""

from __future__ import annotations

import sys
from pathlib import Path

from gateway.standard.generate.classes import sop_classes_text
from gateway.standard.generate.tables import curated, iod_table, table_text


def main(arguments: list[str]) -> int:
    """Write every table, or compare with ``--check``; return 1 if one is not what would be written."""
    data = Path(__file__).parents[1] / "data"
    wanted = {data / "iods" / f"{iod}.json": table_text(iod_table(iod)) for iod in curated()["iods"]}
    wanted[data / "sop_classes.json"] = sop_classes_text()
    stale = [path for path, text in wanted.items() if not path.exists() or path.read_text(encoding="utf-8") != text]
    for path in stale:
        sys.stdout.write(f"{'differs' if '--check' in arguments else 'wrote'}: {path.name}\n")
        if "--check" not in arguments:
            path.parent.mkdir(exist_ok=True)
            path.write_text(wanted[path], encoding="utf-8")
    return 1 if stale and "--check" in arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
