"""Bushing kits that can be staged."""

from __future__ import annotations

from pivotlife.data.contracts.columns import length, length_unit, number, text, whole, words
from pivotlife.data.contracts.tables import table
from pivotlife.data.contracts.vocabulary import BUSHING_TYPES, NODES

KITS = table(
    "kits",
    "One kit for one node a row: what it fits, what it costs, what is on the shelf.",
    {
        "kit_id": text("the fleet's own name for the kit", required=True),
        "bushing_type": words("type of bushing in it", BUSHING_TYPES, required=True),
        "node": words("the node it is for", NODES, required=True),
        "outside": words("outside of the bushing", ("ribbed", "smooth")),
        "side_bar_centres": length("side-bar centre distance it fits"),
        "spring_width": length("spring width it fits"),
        "bushing_outside_diameter": length("outside diameter of the bushing"),
        "tolerance": length("how far a size may differ and still fit"),
        "length_unit": length_unit(),
        "price": number("price of the kit, in the declared currency"),
        "lead_time_days": number("days from order to shelf"),
        "drive_tool": text("the drive tool that belongs to the kit"),
        "on_hand": whole("kits on the shelf", 0, 1_000_000),
        "on_order": whole("kits ordered", 0, 1_000_000),
        "warranty_miles": number("miles of warranty"),
        "warranty_months": number("months of warranty"),
    },
    id_column="kit_id",
    key=("kit_id", "node"),
)
