"""The configurations that are measured, and what their sensors say."""

import socket

# Topic, the middle of its values and the width within which they go up and down.
FIVE = [
    ("feed_tds", 310, 40),
    ("permeate_tds", 11, 3),
    ("flow", 1.1, 0.3),
    ("temperature", 18, 6),
    ("feed_pressure", 4.2, 0.5),
]
# The flows go up and down together, so that they add up.
TWELVE = [
    ("supply_pressure", 4.6, 0.2),
    ("feed_pressure", 4.2, 0.2),
    ("concentrate_pressure", 4.0, 0.2),
    ("feed_temperature", 18, 4),
    ("feed_tds", 310, 40),
    ("permeate_tds", 11, 3),
    ("product_tds", 0.4, 0.2),
    ("stage_tds", 308, 40),
    ("feed_flow", 5.5, 0.5),
    ("permeate_flow", 1.1, 0.1),
    ("concentrate_flow", 4.4, 0.4),
    ("storage_level", 40, 20),
]
STANDING = [(at, 0, 0) if at.endswith("flow") else (at, middle, width / 4) for at, middle, width in TWELVE]

UNITS = {"flow": "L/min", "tds": "mg/L", "temperature": "degC", "pressure": "bar", "level": "L"}


def free_port():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def head(port, folder, prefix="permeated", interval="10 s", discovery="device", outlets=True):
    text = (
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\nclient_id = "{folder.name}"\n'
        f'[publish]\nprefix = "{prefix}"\ninterval = "{interval}"\n[hub]\ndiscovery = "{discovery}"\n'
        f'[store]\ndirectory = "{folder.resolve()}"\n'
    )
    if outlets:
        for outlet in ("page", "metrics"):
            text += f'[{outlet}]\nlisten = "127.0.0.1:{free_port()}"\n'
    return text


def unit(name, sensors):
    """A unit with a membrane, five stages and those sensors: (point, topic)."""
    text = f"""[unit.{name}]
[unit.{name}.supply]
waste_ratio = "4:1"
disinfectant = "chlorine"
disinfectant_level = "0.5 mg/L"
[unit.{name}.membrane]
rated_flow = "500 gal/d"
rated_pressure = "60 psi"
rated_temperature = "25 degC"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
rated_rejection = "96 %"
"""
    for stage, kind, more in (
        ("sediment", "sediment", 'life_time = "365 d"'),
        ("carbon_1", "carbon", 'life = "30000 L"'),
        ("carbon_2", "carbon", 'life = "60000 L"'),
        ("membrane", "membrane", 'life_time = "1095 d"'),
        ("mixed_bed", "mixed_bed", 'resin = "4 L"'),
    ):
        text += f'[[unit.{name}.stage]]\nid = "{stage}"\nkind = "{kind}"\n{more}\ninstalled = 2026-06-01\n'
    for at, topic in sensors:
        text += f'[[unit.{name}.sensor]]\nat = "{at}"\ntopic = "{topic}"\nunit = "{UNITS[at.split("_")[-1]]}"\n'
        text += 'stage = "carbon_2"\n' if at == "stage_tds" else ""
        text += 'kind = "rate"\n' if at.endswith("flow") else ""
    return text


def points(topic):
    """The five sensors below a topic."""
    named = {"flow": "permeate_flow", "temperature": "feed_temperature"}
    return [(named.get(name, name), f"{topic}/{name}") for name, _, _ in FIVE]


def five(port, folder, **options):
    return head(port, folder, **options) + unit("bench", points("bench/in"))


def twelve(port, folder):
    name = folder.name
    sensors = [(at, f"bench/{name}/{at}") for at, _, _ in TWELVE]
    return head(port, folder, prefix=name) + unit(name, sensors)


def many(port, folder, units):
    text = head(port, folder, discovery="off", outlets=False)
    return text + "".join(unit(f"u{number}", points(f"bench/in/{number}")) for number in range(1, units + 1))
