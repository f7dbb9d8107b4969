"""Reads metrics from standard input with the parser of the Python package prometheus_client, which
shares nothing with the encoder under test, and prints them as JSON. The argument is the format:
open or classic. Text the parser refuses ends it with an error."""

import json
import sys

if sys.argv[1] == "open":
    from prometheus_client.openmetrics.parser import text_string_to_metric_families
else:
    from prometheus_client.parser import text_string_to_metric_families

text = sys.stdin.buffer.read().decode("utf-8")
families = [
    {
        "name": family.name,
        "type": family.type,
        "unit": family.unit,
        "help": family.documentation,
        "samples": [[s.name, s.labels, s.value] for s in family.samples],
    }
    for family in text_string_to_metric_families(text)
]
json.dump(families, sys.stdout)
