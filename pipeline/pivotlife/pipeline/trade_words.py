"""What the trade calls the columns and words of the tables: for proposals and for the guard.

Common practice, no source; spellings of the United States and of Britain. A word that means two
things is left out. Sides: the driver's side is the left one and the nearside is Britain's left
one, so that a proposal of sides must be looked at by somebody who knows the fleet.

Not here: applying anything. A proposal is text that the user pastes, or does not.
"""

from __future__ import annotations

from typing import Final

from pivotlife.pipeline.cells import word_key

#: Words of a header that mean the same. A word may stand in one line only.
SAME_WORD: Final[dict[str, tuple[str, ...]]] = {
    "unit": (
        *("truck", "vehicle", "veh", "tractor", "asset", "equipment", "equip", "eqp", "fleet"),
        *("rig", "trk", "vhcl"),
    ),
    "id": (
        *("no", "nr", "num", "number", "nbr", "code", "key", "ref", "reference", "identifier"),
        *("record", "rec", "ident"),
    ),
    "reading": (
        *("inspection", "insp", "measurement", "meas", "measure", "check", "inspected"),
        *("measured", "look", "gauging", "reader", "rdg"),
    ),
    "repair": (
        *("work", "wo", "order", "job", "maintenance", "maint", "service", "workorder", "rep"),
        *("ro", "repaired"),
    ),
    "date": ("day", "dt", "on", "when", "dated", "completed", "performed"),
    "entered": ("keyed", "entry", "typed", "created", "logged", "posted", "input", "booked"),
    "odometer": (
        *("odo", "mileage", "miles", "km", "kilometers", "kilometres", "hubodometer", "hubo"),
        *("meter", "distance", "mlg", "odom", "clock", "kms"),
    ),
    "units": ("uom", "measureunit"),
    "play": (
        *("freeplay", "movement", "travel", "lash", "slack", "clearance", "looseness", "fp"),
        *("dial", "indicator"),
    ),
    "axle": ("ax", "axl", "axleno"),
    "side": ("hand", "lr", "lh", "sd"),
    "node": (
        *("location", "joint", "pivot", "point", "position", "pos", "place", "loc", "eye"),
        *("mount", "where"),
    ),
    "bushing": ("bush", "bearing", "bshg", "bushings", "bsh"),
    "type": ("kind", "style", "construction", "design", "typ", "class"),
    "finding": (
        *("condition", "cond", "result", "defect", "observation", "fault", "found", "findings"),
        *("visual", "state", "status", "remarkcode"),
    ),
    "grease": ("greased", "lube", "lubricated", "greasing", "lubrication", "grs", "purge", "lubed"),
    "takes": ("accepts", "accepted", "took", "taking", "takesgrease", "accept"),
    "before": ("prior", "pre", "fresh"),
    "after": ("post", "following"),
    "inspector": (
        *("technician", "tech", "mechanic", "mech", "examiner", "gauger", "checker", "by", "who"),
    ),
    "tool": ("instrument", "gauge", "device", "gage", "equipmentused", "using"),
    "repeat": ("try", "attempt", "trial", "rerun", "seq", "take"),
    "remark": (
        *("remarks", "comment", "comments", "note", "notes", "text", "memo", "description"),
        *("narrative", "details", "desc"),
    ),
    "direction": ("dir", "plane", "sense"),
    "load": ("loaded", "laden", "weight", "loading"),
    "action": ("done", "operation", "activity", "task", "accomplished"),
    "reason": ("cause", "why", "rsn"),
    "kit": ("part", "partset", "parts", "material"),
    "pivots": ("count", "qty", "quantity", "pcs", "pieces", "renewed"),
    "teardown": ("stripdown", "removed", "dismantled", "disassembly", "removal", "strip"),
    "cost": ("amount", "spend", "charge", "value"),
    "price": ("list",),
    "labour": ("labor", "lab", "man", "wrench"),
    "hours": ("hrs", "hr", "time", "hour"),
    "downtime": ("down", "vor", "idle", "outofservice"),
    "days": ("dys",),
    "currency": ("curr", "ccy", "money"),
    "depot": (
        *("terminal", "base", "site", "branch", "garage", "workshop", "domicile", "yard"),
        *("homebase", "station"),
    ),
    "duty": ("application", "operationtype", "usage", "use", "vocation", "segment", "cycle"),
    "salt": ("salted", "deicing", "brine"),
    "road": ("winter", "highway"),
    "begin": ("start", "began", "since", "first", "starts", "opening", "begins"),
    "inservice": ("commissioned", "onroad", "delivered", "delivery", "acquired", "registered"),
    "left": ("disposal", "disposed", "sold", "retired", "deactivated", "out", "exit", "gone"),
    "holding": ("trade", "planned", "sell", "target", "sale", "replacement", "planneddisposal"),
    "fitted": ("installed", "install", "mounted", "installation", "fit"),
    "sidebar": ("shackleplate", "shackle", "plates", "sidebars", "link"),
    "centres": ("centers", "centre", "center", "ctr", "ctrs", "spacing", "pitch"),
    "spring": ("leaf", "spg"),
    "width": ("wide", "breadth"),
    "diameter": ("dia", "diam", "od"),
    "outside": ("outer", "surface", "exterior", "ext"),
    "pin": ("bolt", "pins"),
    "length": ("size", "dimension", "dim"),
    "visit": ("appointment", "stop", "booking", "appt", "shopvisit", "scheduled", "planneddate"),
    "purpose": ("forwhat", "worktype", "servicetype", "intent"),
    "source": ("origin", "feed", "from", "system"),
    "old": ("previous", "prev", "former", "last"),
    "new": ("next", "current", "replacementmeter"),
    "change": ("changed", "swap", "swapped", "exchange", "replaced", "changeover"),
    "week": ("wk", "weekly", "commencing", "weekstart"),
    "bay": ("bays", "stall", "capacity", "available", "shop"),
    "lead": ("leadtime", "delivery_time", "replenishment", "resupply"),
    "tolerance": ("tol", "allowance", "plusminus"),
    "drive": ("driver", "press", "install_tool"),
    "hand_stock": ("stock", "onhand", "instock", "shelf", "balance"),
    "order_stock": ("onorder", "ordered", "backorder", "incoming"),
    "warranty": ("guarantee", "wty", "wrty", "cover"),
    "months": ("mths", "mth", "mo", "month"),
    "records": ("history", "data", "documented"),
    "all": ("every", "fittings", "complete"),
}

#: Phrases that name a column outright, beside its own name.
PHRASES: Final[dict[str, tuple[str, ...]]] = {
    "unit_id": ("unit", "truck", "unit number", "fleet number", "asset tag", "vehicle"),
    "depot": ("home terminal", "home depot", "service location", "maintained at"),
    "duty": ("duty cycle", "service type", "haul type", "operation type", "type of work"),
    "road_salt": ("salt", "salt exposure", "salt belt", "salted roads", "winter salt"),
    "in_service_date": ("in service", "start date", "commissioning date", "date in service"),
    "in_service_odometer": ("odometer at start", "start odometer", "in service miles"),
    "records_begin_date": ("history from", "records from", "data since", "records start date"),
    "records_begin_odometer": ("history from odometer", "records from odometer"),
    "holding_odometer": ("sell at odometer", "trade in odometer", "replacement odometer"),
    "left_fleet_date": ("out of fleet date", "sold date", "disposal date", "date sold"),
    "left_fleet_odometer": ("out of fleet odometer", "disposal odometer", "odometer at sale"),
    "left_fleet_reason": ("disposal reason", "reason sold", "out of fleet reason"),
    "side_bar_centres": ("side bar centers", "sidebar centres", "shackle centres"),
    "spring_width": ("leaf width", "spring leaf width"),
    "bushing_outside_diameter": ("bushing od", "bush od", "outside diameter"),
    "pin_diameter": ("pin dia", "spring bolt diameter"),
    "length_unit": ("size unit", "dimension units", "size uom"),
    "odometer_unit": ("odometer uom", "distance unit", "mileage unit", "odometer units", "mi km"),
    "axle": ("axle number", "axle position"),
    "side": ("vehicle side", "left right", "lh rh", "hand"),
    "node": ("pivot point", "pivot location", "joint", "spring joint", "location"),
    "bushing_type": ("bushing", "bush type", "bushing kind", "type of bushing", "type fitted"),
    "fitted_odometer": ("fitted at", "installed at odometer", "install odometer"),
    "reading_id": ("inspection number", "record id", "measurement id", "check no", "entry no"),
    "reading_date": ("inspection date", "date", "date measured", "date checked", "measured on"),
    "entered_date": ("entry date", "date keyed", "date entered", "keyed on", "created on"),
    "odometer": ("mileage", "odometer reading", "miles", "odometer value", "meter reading"),
    "free_play": ("play", "free play", "movement", "dial reading", "pin play", "total play"),
    "free_play_unit": ("play unit", "play uom", "unit of play", "free play uom", "dial unit"),
    "direction": ("play direction", "direction of movement"),
    "load_state": ("loaded", "load condition", "laden"),
    "greased_before": ("greased before", "pre greased", "fresh grease"),
    "after_repair": ("post repair", "measured after repair"),
    "finding": ("condition", "finding code", "visual result", "observed condition", "defect"),
    "takes_grease": ("accepts grease", "grease accepted", "takes grease", "grease ok"),
    "inspector": ("inspected by", "measured by", "technician", "checked by", "mechanic"),
    "tool": ("gauge used", "instrument", "measuring tool", "measured with"),
    "repeat": ("repeat no", "attempt number", "trial number"),
    "remark": ("comments", "notes", "free text"),
    "repair_id": ("work order number", "repair order", "job number", "wo line", "ro number"),
    "repair_date": ("date repaired", "job date", "work order date", "date", "date done"),
    "action": ("work done", "action taken", "work accomplished", "operation"),
    "reason": ("reason for repair", "cause", "failure cause", "why replaced"),
    "kit_id": ("kit number", "part number", "kit", "part no", "kit used"),
    "pivots_in_kit": ("pivots renewed", "quantity", "pivots per kit", "qty pivots"),
    "teardown_finding": ("old bushing condition", "removed bushing condition", "strip finding"),
    "teardown_free_play": ("old bushing play", "removed bushing play", "play at removal"),
    "parts_cost": ("parts amount", "material cost", "parts"),
    "labour_hours": ("labor hours", "hours worked", "labour", "man hours", "labor time"),
    "downtime_days": ("days down", "days out of service", "downtime"),
    "place": ("repaired at", "repair place", "where done", "shop or road", "roadside or shop"),
    "currency": ("currency code",),
    "lube_date": ("grease date", "date greased", "pm date", "service date", "date", "lubed on"),
    "all_took_grease": ("all fittings took grease", "all greased", "every fitting took grease"),
    "read_date": ("date", "date read", "odometer date", "reading date", "timestamp"),
    "source": ("odometer source", "read from", "reading source", "meter type"),
    "change_date": ("meter change date", "date changed", "swap date", "date"),
    "old_reading": ("old meter", "old odometer", "last value old meter", "final reading"),
    "new_reading": ("new meter", "new odometer", "first value new meter", "starting reading"),
    "visit_date": ("scheduled date", "planned date", "appointment date", "date", "due in shop"),
    "purpose": ("reason for visit", "visit type", "planned work", "work type"),
    "outside": ("outer surface", "outside finish", "knurl", "surface"),
    "tolerance": ("fit tolerance", "size tolerance"),
    "price": ("kit price", "unit price", "list price", "cost"),
    "lead_time_days": ("lead time", "days to deliver", "delivery days"),
    "drive_tool": ("driver tool", "installation tool", "press tool"),
    "on_hand": ("stock", "qty on hand", "in stock", "stock level"),
    "on_order": ("qty on order", "ordered"),
    "warranty_miles": ("warranty distance", "warranty mileage"),
    "warranty_months": ("warranty period",),
    "week_start": ("week commencing", "week beginning", "week of", "week"),
    "bay_hours": ("hours available", "shop hours", "bay hours free", "available hours"),
}

_YES_NO: Final = {
    "yes": ("x", "1", "t", "ok", "true"),
    "no": ("0", "f", "none", "false"),
}
_FINDINGS: Final = {
    "ok": ("good", "pass", "passed", "no defect", "nodefects", "serviceable", "sound", "fine"),
    "split": ("torn", "rubber split", "rubber torn", "separated", "debonded", "perished"),
    "extruded": ("extrusion", "squeezed out", "rubber extruded", "working out"),
    "seized": ("frozen", "stuck", "seized up", "locked", "no rotation"),
    "rough": ("notchy", "rough turning", "gritty", "grinding"),
    "rust-in-purge": ("rusty grease", "rust in grease", "rust purge", "red grease"),
    "loose-fit": ("loose in bore", "bore worn", "loose in eye", "spinning in eye", "egged"),
    "part-missing": ("missing", "missing part", "pin missing", "bolt missing", "parts missing"),
    "cracked": ("crack", "cracks", "fractured", "fracture"),
    "broken": ("break", "snapped", "sheared", "broke"),
    "axle-shifted": ("axle shift", "axle moved", "shifted axle", "axle out of line"),
}
_TYPES: Final = {
    "rubber-bonded": ("rubber", "rubber bush", "bonded rubber", "silent block", "rubber bushing"),
    "threaded": ("thread", "threaded pin", "screw", "screw bush", "threaded bush", "steel"),
    "roller": ("needle", "needle roller", "roller bearing", "rollers", "needle bearing"),
}
_REASONS: Final = {
    "wear": ("worn", "worn out", "over limit", "excess play", "worn past limit"),
    "broken": ("breakage", "fracture", "failed on road"),
    "seized": ("frozen", "seizure", "no grease"),
    "split": ("torn", "rubber split"),
    "rough": ("notchy", "rough turning"),
    "loose-fit": ("loose in bore", "bore worn", "loose in eye"),
    "preventive": ("pm", "planned", "prevent", "preventative", "scheduled"),
    "partner": ("pair", "with partner", "other pin", "matched set"),
    "campaign": ("retrofit", "program", "programme", "upgrade"),
    "accident": ("crash", "collision", "wreck", "damage"),
    "sale": ("sold", "disposal", "resale", "for sale"),
    "warranty": ("guarantee", "warranty claim"),
    "unknown": ("other", "not stated", "n/a", "not recorded", "unspecified"),
}

_VALUES: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "side": {
        "left": (
            "l",
            "lh",
            "driver",
            "driver side",
            "street",
            "street side",
            "nearside",
            "ns",
            "n/s",
        ),
        "right": ("r", "rh", "passenger", "curb", "curb side", "kerb side", "offside", "os", "o/s"),
    },
    "axle": {
        "1": ("front", "steer", "steer axle", "first", "a1", "axle 1", "f"),
        "2": ("second", "drive", "drive 1", "a2", "axle 2"),
        "3": ("third", "drive 2", "a3", "axle 3"),
    },
    "node": {
        "fixed-eye": ("fix", "fixed", "eye", "spring eye", "fixed end", "anchor", "anchor eye"),
        "shackle-lower": (
            *("shl", "lower", "lower shackle", "shackle bottom", "bottom shackle pin", "low"),
            *("lower shackle pin", "shackle low", "bottom"),
        ),
        "shackle-upper": (
            *("shu", "upper", "upper shackle", "shackle top", "top shackle pin", "up", "top"),
            *("upper shackle pin", "shackle up", "hanger"),
        ),
    },
    "bushing_type": _TYPES,
    "finding": _FINDINGS,
    "teardown_finding": _FINDINGS,
    "takes_grease": {
        "yes": (*_YES_NO["yes"], "accepts", "took"),
        "no": (*_YES_NO["no"], "refused", "refuses", "will not take", "blocked"),
        "not-greasable": ("n/a", "na", "greaseless", "no fitting", "sealed", "not applicable"),
    },
    "reason": _REASONS,
    "action": {
        "fitted": ("installed", "install", "fit", "mounted"),
        "removed": ("remove", "taken out", "out", "dismounted"),
        "replaced": ("replace", "renewed", "changed", "change", "r&r", "swap", "swapped", "renew"),
        "regreased": ("greased", "lube", "lubed", "grease", "lubricated"),
        "adjusted": ("adjust", "shimmed", "tightened", "set"),
    },
    "duty": {
        "line-haul": ("lh", "long haul", "otr", "over the road", "highway", "long distance"),
        "regional": ("rg", "reg", "regional haul", "short haul"),
        "vocational": ("vo", "voc", "construction", "refuse", "off road", "severe", "mixer"),
    },
    "direction": {
        "vertical": ("v", "vert", "up-down", "up and down"),
        "fore-aft": ("fa", "f/a", "fore and aft", "longitudinal", "fore/aft"),
        "lateral": ("lat", "side to side", "sideways", "in-out"),
    },
    "load_state": {
        "loaded": ("laden", "under load", "on ground", "full", "weight on"),
        "unloaded": ("unladen", "empty", "lifted", "off load", "jacked", "weight off"),
    },
    "place": {
        "shop": ("workshop", "garage", "depot", "in shop", "s"),
        "roadside": ("road", "road call", "roadcall", "breakdown", "on road", "rs"),
    },
    "source": {
        "dash": ("d", "dashboard", "cluster", "driver"),
        "engine": ("e", "ecm", "ecu", "engine computer", "telematics"),
    },
    "outside": {"ribbed": ("rib", "knurled", "serrated"), "smooth": ("plain", "flat")},
    "all_took_grease": {
        "yes": (*_YES_NO["yes"], "all"),
        "no": (*_YES_NO["no"], "not all", "some refused"),
        "unknown": ("not said", "n/k", "?", "not recorded"),
    },
    **dict.fromkeys(("road_salt", "greased_before", "after_repair"), _YES_NO),
}

#: By column: a word as `word_key` writes it, to the word that the column allows.
VALUE_WORDS: Final[dict[str, dict[str, str]]] = {
    column: {
        word_key(spelling): word
        for word, spellings in words.items()
        for spelling in (word, *spellings)
    }
    for column, words in _VALUES.items()
}
