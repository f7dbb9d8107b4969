"""What is written in an evening with paho-mqtt: last values in a dict, three figures for each message."""
import json
import math
import sys

import paho.mqtt.client as mqtt

host, port, qos = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
last = {}


def on_connect(client, userdata, flags, reason, properties):
    client.subscribe("bench/in/#", qos)


def on_message(client, userdata, message):
    try:
        value = float(json.loads(message.payload))
    except ValueError:
        return
    last[message.topic.rsplit("/", 1)[1]] = value
    feed, permeate, flow = last.get("feed_tds"), last.get("permeate_tds"), last.get("flow")
    rejection = 1.0 - permeate / feed if feed and permeate is not None else None
    correction = math.exp(2640.0 * (1 / 298.15 - 1 / (273.15 + last.get("temperature", 25.0))))
    client.publish("bench/out/rejection", json.dumps(rejection), qos)
    client.publish("bench/out/flow_at_25", json.dumps(flow / correction if flow is not None else None), qos)
    client.publish("bench/out/correction", json.dumps(correction), qos)


client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="bench-paho")
client.on_connect, client.on_message = on_connect, on_message
client.connect(host, port)
client.loop_forever()
