"""Exports of the invented fleet as other programs would write them, with the key to the disguise.

Each style has its own headers (drawn from several per column, in one of several ways of writing),
its own codes, date pattern, units column or none, column order and extra columns. Headers and
codes are common practice, no source; none is taken from a program.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass

import pandas as pd

HEADERS: dict[str, tuple[str, ...]] = {
    "part": ("Part", "PART"),
    "trial": ("Trial", "TRIAL"),
    "unit_id": (
        "Unit No",
        "Truck",
        "Vehicle Number",
        "Asset ID",
        "Fleet No",
        "Tractor #",
        "Equip No",
    ),
    "depot": ("Home Terminal", "Depot Name", "Base", "Location Terminal", "Domicile", "Branch"),
    "duty": ("Duty Cycle", "Application", "Service Type", "Vocation", "Usage Type", "Haul Type"),
    "road_salt": ("Road Salt Y/N", "Salt Exposure", "Winter Salt", "Salted Roads", "Salt"),
    "in_service_date": ("In Service", "Date in Service", "In-Svc Date", "Service Start Date"),
    "in_service_odometer": ("In Service Miles", "In Service Odo", "Odometer In Service"),
    "records_begin_date": ("Records From", "History Start Date", "Records Start", "Data Since"),
    "records_begin_odometer": ("Records From Odo", "History Start Odometer", "Records Start Miles"),
    "holding_odometer": (
        "Trade-in Odometer",
        "Planned Sale Miles",
        "Sell At Odometer",
        "Holding Miles",
    ),
    "left_fleet_date": ("Date Sold", "Disposal Date", "Left Fleet", "Out of Fleet Date"),
    "left_fleet_odometer": (
        "Sold Odometer",
        "Disposal Odo",
        "Odometer at Sale",
        "Left Fleet Miles",
    ),
    "left_fleet_reason": (
        "Disposal Reason",
        "Reason Sold",
        "Why Left Fleet",
        "Out of Fleet Reason",
    ),
    "side_bar_centres": (
        "Side Bar Centers",
        "Shackle Centres",
        "Sidebar Ctr Dist",
        "Side-Bar Spacing",
    ),
    "spring_width": ("Spring Width", "Leaf Width", "Spring Leaf Width", "Spg Width"),
    "bushing_outside_diameter": (
        "Bushing OD",
        "Bush Outside Dia",
        "Bushing Outer Diameter",
        "Bush OD",
    ),
    "pin_diameter": ("Pin Dia", "Spring Pin Diameter", "Pin Diam", "Pin OD"),
    "length_unit": ("Size Unit", "Dim Units", "Size UOM", "Dimension Unit"),
    "odometer_unit": ("Odo Unit", "Mileage UOM", "Distance Unit", "Odometer Units", "Meter Unit"),
    "axle": ("Axle No", "Axle Position", "Ax", "Axle Number", "Axle #"),
    "side": ("Vehicle Side", "L/R", "Side of Truck", "Hand", "LH/RH"),
    "node": ("Pivot Point", "Joint", "Pin Location", "Position", "Spring Joint", "Pivot Position"),
    "bushing_type": ("Bush Type", "Bushing", "Type of Bushing", "Bushing Kind", "Bushing Design"),
    "fitted_odometer": ("Fitted At Odo", "Install Odometer", "Installed Miles", "Fitted Mileage"),
    "reading_id": (
        "Inspection No",
        "Rec ID",
        "Measurement #",
        "Check Number",
        "Insp Ref",
        "Entry No",
    ),
    "reading_date": ("Inspection Date", "Date Measured", "Insp Dt", "Check Date", "Measured On"),
    "entered_date": ("Date Entered", "Keyed On", "Entry Date", "Date Keyed", "Created On"),
    "odometer": ("Mileage", "Odo", "Odometer Reading", "Miles", "ODO Value", "Odometr"),
    "free_play": (
        "Play",
        "Freeplay",
        "Pin Play",
        "Dial Reading",
        "Measured Play",
        "Total Movement",
    ),
    "free_play_unit": ("Play Unit", "Play UOM", "Freeplay Units", "Unit of Play", "Dial Units"),
    "direction": ("Play Direction", "Dir", "Direction of Movement", "Meas Direction"),
    "load_state": ("Loaded?", "Load Condition", "Load", "Laden State"),
    "greased_before": ("Greased First", "Greased Before Check", "Pre-Greased", "Fresh Grease"),
    "after_repair": ("Post Repair", "After Repair?", "Taken After Repair", "Post-Repair Check"),
    "finding": ("Condition", "Defect Code", "Visual Finding", "Insp Result", "Observation"),
    "takes_grease": ("Accepts Grease", "Takes Grease?", "Grease Accepted", "Took Grease"),
    "inspector": ("Technician", "Inspected By", "Mechanic", "Tech Name", "Checked By"),
    "tool": ("Gauge Used", "Instrument", "Measuring Tool", "Meas Device"),
    "repeat": ("Repeat No", "Attempt", "Trial No", "Retry"),
    "remark": ("Comments", "Notes", "Remarks", "Free Text", "Memo"),
    "repair_id": ("Work Order", "WO Number", "RO #", "Repair Order No", "Job No"),
    "repair_date": ("Date Repaired", "WO Date", "Job Date", "Date Completed", "Repair Dt"),
    "action": ("Work Done", "Action Taken", "Operation", "Work Accomplished", "Task"),
    "reason": ("Cause", "Reason for Repair", "Repair Reason", "Why", "Cause Code"),
    "kit_id": ("Kit No", "Part Number", "Kit Used", "Kit Code", "Part No"),
    "pivots_in_kit": ("Pivots Renewed", "Qty Pivots", "Pivot Count", "No of Pivots"),
    "teardown_finding": (
        "Old Bushing Condition",
        "Teardown Result",
        "Strip Finding",
        "Removed Bush Condition",
    ),
    "teardown_free_play": (
        "Teardown Play",
        "Old Bushing Play",
        "Play at Removal",
        "Removed Bush Play",
    ),
    "parts_cost": ("Parts $", "Parts Amount", "Material Cost", "Cost of Parts"),
    "labour_hours": ("Labor Hrs", "Labour Hours", "Hours Worked", "Man Hours"),
    "downtime_days": ("Days Down", "Downtime Days", "Days Out of Service", "Down Days"),
    "place": ("Where Done", "Repair Place", "Shop/Road", "Shop or Roadside"),
    "currency": ("Curr", "Currency Code", "CCY"),
    "lube_date": ("Date Greased", "Grease Date", "Lubed On", "Lube Dt", "Service Date"),
    "all_took_grease": ("All Fittings Took Grease", "All Greased", "Every Fitting OK", "All Took"),
    "read_date": ("Date Read", "Reading Dt", "Odo Date", "Timestamp", "Read On"),
    "source": ("Odo Source", "Read From", "Reading Source", "Source System"),
    "change_date": ("Meter Change Date", "Date Changed", "Swap Date", "Changeover Date"),
    "old_reading": ("Old Meter", "Final Old Reading", "Old Odometer", "Previous Meter Value"),
    "new_reading": ("New Meter", "First New Reading", "New Odometer", "New Meter Value"),
    "visit_date": ("Scheduled Date", "Planned Date", "Appointment", "Shop Visit Date"),
    "purpose": ("Reason for Visit", "Planned Work", "Visit Type", "Purpose of Stop"),
    "outside": ("Outer Surface", "Bushing Outside", "Outside Finish", "Surface"),
    "tolerance": ("Fit Tolerance", "Tol", "Tolerance +/-", "Size Tol"),
    "price": ("Kit Price", "List Price", "Unit Cost", "Price Each"),
    "lead_time_days": ("Lead Time", "Lead Days", "Days to Deliver", "Leadtime (days)"),
    "drive_tool": ("Driver Tool", "Install Tool", "Press Tool", "Drive-In Tool"),
    "on_hand": ("Qty On Hand", "Stock", "In Stock", "Onhand"),
    "on_order": ("Qty On Order", "Ordered", "On Order Qty", "Backorder"),
    "warranty_miles": ("Warranty Mi", "Wty Miles", "Warranty Distance", "Guarantee Miles"),
    "warranty_months": ("Warranty Mths", "Wty Months", "Warranty Period", "Guarantee Months"),
    "week_start": ("Week Of", "Week Commencing", "Wk Start", "Week Beginning"),
    "bay_hours": ("Hours Available", "Bay Hrs", "Shop Hours Free", "Bay Capacity Hours"),
}

#: Headers where one table means something else by the native name.
OWN_HEADERS: dict[tuple[str, str], tuple[str, ...]] = {
    ("repairs", "bushing_type"): ("Bushing Fitted", "New Bush Type", "Type Fitted", "Bush Type"),
    ("visits", "depot"): ("Shop", "Depot", "Visit Terminal", "At Terminal"),
    ("units", "depot"): ("Home Terminal", "Depot Name", "Base", "Domicile", "Branch"),
}

CODES: dict[str, tuple[dict[str, str], ...]] = {
    "side": (
        {"left": "L", "right": "R"},
        {"left": "Driver", "right": "Passenger"},
        {"left": "STREET", "right": "CURB"},
        {"left": "N/S", "right": "O/S"},
    ),
    "node": (
        {"fixed-eye": "FIX", "shackle-lower": "SHL", "shackle-upper": "SHU"},
        {"fixed-eye": "Spring Eye", "shackle-lower": "Lower", "shackle-upper": "Upper"},
        {
            "fixed-eye": "Fixed End",
            "shackle-lower": "Shackle Bottom",
            "shackle-upper": "Shackle Top",
        },
    ),
    "bushing_type": (
        {"rubber-bonded": "Rubber", "threaded": "Thread", "roller": "Needle"},
        {"rubber-bonded": "RUBBER BUSH", "threaded": "SCREW", "roller": "ROLLERS"},
    ),
    "duty": (
        {"line-haul": "LH", "regional": "RG", "vocational": "VO"},
        {"line-haul": "Long Haul", "regional": "Regional", "vocational": "Construction"},
    ),
    "finding": (
        {"ok": "Good", "cracked": "CRACK", "broken": "Snapped", "seized": "Frozen"},
        {"ok": "Pass", "split": "Torn", "part-missing": "Missing", "rough": "Notchy"},
        {},
    ),
    "takes_grease": ({"yes": "Y", "no": "N", "not-greasable": "N/A"}, {}),
    "action": (
        {"replaced": "R&R", "regreased": "Greased", "removed": "Taken Out", "fitted": "Installed"},
        {"replaced": "RENEWED", "adjusted": "SHIMMED"},
        {},
    ),
    "reason": ({"wear": "Worn", "preventive": "PM", "unknown": "Other"}, {}),
    "load_state": ({"loaded": "Laden", "unloaded": "Lifted"}, {}),
    "direction": ({"vertical": "V", "fore-aft": "F/A", "lateral": "Lat"}, {}),
    "odometer_unit": ({"mi": "Miles", "km": "KM"}, {}),
    "free_play_unit": ({"in": "Inch", "thou": "mils", "mm": "MM"}, {}),
    "place": ({"shop": "Garage", "roadside": "Road Call"}, {}),
    "source": ({"dash": "Cluster", "engine": "ECM"}, {}),
}
ABSENT = 0.25
DATES = ("%m/%d/%Y", "%d.%m.%Y", "%Y-%m-%d", "%d-%b-%Y", "%d/%m/%Y %H:%M", "%Y/%m/%d")
#: Columns that no contract knows, with what stands in them.
EXTRAS: dict[str, tuple[str, ...]] = {
    "Plate": ("LX 4471", "KT 2210", "QQ 9012"),
    "Region Manager": ("group one", "group two"),
    "GL Account": ("5010-22", "5010-23", "5100-01"),
    "Row Version": ("3", "7", "12"),
    "Approved": ("pending", "signed"),
    "Model Year": ("2017", "2018", "2019"),
}


@dataclass(frozen=True)
class Export:
    """A fleet in disguise.

    Attributes
    ----------
    frames : dict of DataFrame
        By table, under foreign headers.
    key : dict of dict
        By table: native column to foreign header.
    codes : dict of dict
        By native column: native word to foreign one.
    date_format : str
    """

    frames: dict[str, pd.DataFrame]
    key: dict[str, dict[str, str]]
    codes: dict[str, dict[str, str]]
    date_format: str


def disguise(tables: dict[str, pd.DataFrame], style: int, required: dict[str, list[str]]) -> Export:
    """Write the fleet's tables in one style; equal styles are equal.

    Optional columns are left out by chance, so that extra ones have something to be mistaken for.
    """
    chance = random.Random(style)  # noqa: S311  a disguise, not a secret
    write = _writings()[style % len(_writings())]
    codes = {column: chance.choice(choices) for column, choices in CODES.items()}
    codes["teardown_finding"] = codes["finding"]
    pattern = DATES[style % len(DATES)]
    frames, key = {}, {}
    for name, table in tables.items():
        absent = [c for c in table.columns if c not in required[name] and chance.random() < ABSENT]
        foreign = _recoded(table.drop(columns=absent), codes, pattern)
        key[name] = _headers(name, list(foreign.columns), chance, write)
        foreign = foreign.rename(columns=key[name])
        for extra in chance.sample(sorted(EXTRAS), 2):
            # Equal rows stay equal: word-for-word repeats must not be disguised away.
            place = pd.util.hash_pandas_object(table, index=False) % len(EXTRAS[extra])
            foreign[write(extra)] = [EXTRAS[extra][n] for n in place]
        order = list(foreign.columns)
        chance.shuffle(order)
        frames[name] = foreign[order]
    return Export(frames, key, codes, pattern)


def _recoded(table: pd.DataFrame, codes: dict[str, dict[str, str]], pattern: str) -> pd.DataFrame:
    changed = {}
    for column in table.columns:
        cells = table[column]
        if column in codes:
            changed[column] = cells.map(lambda text, by=codes[column]: by.get(text, text))
        elif column.endswith("_date") or column == "week_start":
            days = pd.to_datetime(cells, errors="coerce", format="%Y-%m-%d")
            changed[column] = days.dt.strftime(pattern).where(days.notna(), cells)
    return table.assign(**changed)


def _headers(name: str, columns: list[str], chance: random.Random, write: object) -> dict[str, str]:
    chosen: dict[str, str] = {}
    for column in columns:
        choices = list(OWN_HEADERS.get((name, column), HEADERS[column]))
        chance.shuffle(choices)
        written = [write(choice) for choice in choices]  # type: ignore[operator]  a function
        chosen[column] = next(one for one in written if one not in chosen.values())
    return chosen


def _writings() -> list[object]:
    return [
        lambda header: header,
        lambda header: header.upper(),
        lambda header: re.sub(r"\W+", "_", header).strip("_").lower() + "_",
        lambda header: re.sub(r"[^A-Za-z0-9#]", "", header.title()),
        lambda header: "EXP " + header,
        lambda header: re.sub(r"\W+", "_", header).strip("_").upper(),
        _shortened,
    ]


def _shortened(header: str) -> str:
    """Drop the vowels of long words, as crowded column heads do."""
    words = [
        word if len(word) < 6 else word[0] + re.sub(r"[aeiou]", "", word[1:])
        for word in header.split()
    ]
    return " ".join(words)
