// What is written in an evening with mqtt.js: last values in an object, three figures for each message.
const mqtt = require('mqtt');
const [host, port, level] = process.argv.slice(2);
const qos = Number(level), last = {};
const client = mqtt.connect(`mqtt://${host}:${port}`, { clientId: 'bench-mqttjs' });
client.on('connect', () => client.subscribe('bench/in/#', { qos }));
client.on('message', (topic, payload) => {
  let value;
  try { value = Number(JSON.parse(payload)); } catch { return; }
  last[topic.slice(topic.lastIndexOf('/') + 1)] = value;
  const { feed_tds: feed, permeate_tds: permeate, flow, temperature = 25 } = last;
  const rejection = feed && permeate !== undefined ? 1 - permeate / feed : null;
  const correction = Math.exp(2640 * (1 / 298.15 - 1 / (273.15 + temperature)));
  client.publish('bench/out/rejection', JSON.stringify(rejection), { qos });
  client.publish('bench/out/flow_at_25', JSON.stringify(flow !== undefined ? flow / correction : null), { qos });
  client.publish('bench/out/correction', JSON.stringify(correction), { qos });
});
