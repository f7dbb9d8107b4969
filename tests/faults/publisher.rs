//! A client that publishes any bytes, fast: packets by hand from the MQTT 3.1.1 standard, for the broker's
//! own client program takes lines of text only.

use std::{
    io::{Read as _, Write as _},
    net::TcpStream,
    time::Duration,
};

pub struct Publisher {
    stream: TcpStream,
    packet: u16,
    /// Publishes that the broker has not acknowledged.
    open: usize,
}

/// Of these the broker takes so many at a time.
const WINDOW: usize = 16;

impl Publisher {
    /// A connection as `client`, with a clean session (3.1).
    pub fn connect(port: u16, client: &str) -> Self {
        let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        stream.set_nodelay(true).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(20)))
            .unwrap();
        let mut publisher = Self {
            stream,
            packet: 0,
            open: 0,
        };
        let mut body = b"\0\x04MQTT\x04\x02\0\0".to_vec();
        body.extend(prefixed(client.as_bytes()));
        publisher.send(0x10, &body);
        let mut answer = [0; 4];
        publisher.stream.read_exact(&mut answer).unwrap();
        assert_eq!(answer, [0x20, 2, 0, 0], "CONNACK (3.2)");
        publisher
    }

    /// With QoS 0.
    pub fn publish_once(&mut self, topic: &str, payload: &[u8]) {
        let mut body = prefixed(topic.as_bytes());
        body.extend(payload);
        self.send(0x30, &body);
    }

    /// With QoS 1; waits while too many are on their way.
    pub fn publish(&mut self, topic: &str, payload: &[u8]) {
        while self.open >= WINDOW {
            self.acknowledged();
        }
        self.packet = self.packet.checked_add(1).unwrap_or(1);
        let mut body = prefixed(topic.as_bytes());
        body.extend(self.packet.to_be_bytes());
        body.extend(payload);
        self.send(0x32, &body);
        self.open += 1;
    }

    /// Waits until the broker has everything.
    pub fn finish(mut self) {
        while self.open > 0 {
            self.acknowledged();
        }
        self.send(0xe0, &[]);
    }

    fn acknowledged(&mut self) {
        let mut answer = [0; 4];
        self.stream.read_exact(&mut answer).unwrap();
        assert_eq!(answer[..2], [0x40, 2], "PUBACK (3.4)");
        self.open -= 1;
    }

    fn send(&mut self, first: u8, body: &[u8]) {
        let mut packet = vec![first];
        let mut length = body.len();
        // The remaining length: seven bits a byte (2.2.3).
        loop {
            let digit = u8::try_from(length % 128).unwrap();
            length /= 128;
            packet.push(if length > 0 { digit | 0x80 } else { digit });
            if length == 0 {
                break;
            }
        }
        packet.extend(body);
        self.stream.write_all(&packet).unwrap();
    }
}

fn prefixed(text: &[u8]) -> Vec<u8> {
    let mut bytes = u16::try_from(text.len()).unwrap().to_be_bytes().to_vec();
    bytes.extend(text);
    bytes
}
