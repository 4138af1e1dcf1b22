"""All contracts by table name, in the order in which tables are judged and described."""

from __future__ import annotations

from typing import Final

import pandera.pandas as pa

from pivotlife.data.contracts.capacity import CAPACITY
from pivotlife.data.contracts.corrections import CORRECTIONS
from pivotlife.data.contracts.gauge_study import GAUGE_STUDY
from pivotlife.data.contracts.kits import KITS
from pivotlife.data.contracts.lube import LUBE
from pivotlife.data.contracts.meters import METERS
from pivotlife.data.contracts.odometer import ODOMETER
from pivotlife.data.contracts.pivots import PIVOTS
from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.repairs import REPAIRS
from pivotlife.data.contracts.tables import table_facts
from pivotlife.data.contracts.units import UNITS
from pivotlife.data.contracts.visits import VISITS

CONTRACTS: Final[dict[str, pa.DataFrameSchema]] = {
    "units": UNITS,
    "pivots": PIVOTS,
    "readings": READINGS,
    "repairs": REPAIRS,
    "lube": LUBE,
    "odometer": ODOMETER,
    "meters": METERS,
    "visits": VISITS,
    "kits": KITS,
    "capacity": CAPACITY,
    "gauge_study": GAUGE_STUDY,
}

#: Every table that a source may name: the judged ones, and corrections of their cells.
INCOMING: Final[dict[str, pa.DataFrameSchema]] = {**CONTRACTS, "corrections": CORRECTIONS}

#: The tables without which nothing can be said.
NEEDED_TABLES: Final = tuple(
    name for name, schema in CONTRACTS.items() if table_facts(schema).needed
)
