"""Small sources for tests of the intake: native files in a folder, and settings over them."""

from __future__ import annotations

from pathlib import Path

from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import load_settings

#: One good row of each needed table.
FILES = {
    "units": "unit_id,depot,duty,in_service_date\nMD-001,Northpit,regional,2019-01-01\n",
    "pivots": "unit_id,axle,side,node,bushing_type\nMD-001,1,left,fixed-eye,threaded\n",
    "readings": (
        "reading_id,unit_id,axle,side,node,reading_date,odometer,free_play,free_play_unit,finding\n"
        "R1,MD-001,1,left,fixed-eye,2020-01-01,5000,0.5,mm,ok\n"
    ),
    "repairs": (
        "repair_id,unit_id,repair_date,odometer,action\nP1,MD-001,2020-02-01,6000,replaced\n"
    ),
}


def write_settings(
    folder: Path, *, files: dict[str, str] | None = None, **sources: str
) -> Settings:
    """Write the files and a settings file whose sources are native but for those given as TOML."""
    for name, content in {**FILES, **(files or {})}.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    named = {name: f'path = "{name}.csv"' for name in FILES} | sources
    text = "\n".join(f"[sources.{name}]\n{lines}" for name, lines in named.items())
    (folder / "settings.toml").write_text(text, encoding="utf-8")
    return load_settings(folder / "settings.toml")
