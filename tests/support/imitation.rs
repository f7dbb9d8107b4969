//! A broker that misbehaves on purpose: a listener that runs a script for every connection. The
//! packets are made by hand from the MQTT 3.1.1 standard, not by the client library under test.

use std::{
    io::{Read, Write},
    net::{TcpListener, TcpStream},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::Duration,
};

/// The listener. Its threads end with the process.
pub struct Imitation {
    /// The port it listens on.
    pub port: u16,
    connections: Arc<AtomicUsize>,
}

/// One connection, seen from the broker.
pub struct Wire(TcpStream);

/// A control packet: its first byte and what follows the length.
pub struct Packet {
    /// Type and flags.
    pub first: u8,
    /// Variable header and payload.
    pub body: Vec<u8>,
}

impl Imitation {
    /// Runs `script` for every connection, with its number from 0; it ends with the script.
    pub fn start(script: impl Fn(usize, Wire) + Send + Sync + 'static) -> Self {
        Self::start_on(0, script)
    }

    /// The same on a given port.
    pub fn start_on(port: u16, script: impl Fn(usize, Wire) + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", port)).unwrap();
        let port = listener.local_addr().unwrap().port();
        let connections = Arc::new(AtomicUsize::new(0));
        let counter = Arc::clone(&connections);
        let script = Arc::new(script);
        thread::spawn(move || {
            for stream in listener.incoming() {
                let stream = stream.unwrap();
                let limit = Some(Duration::from_secs(10));
                stream.set_read_timeout(limit).unwrap();
                stream.set_nodelay(true).unwrap();
                let number = counter.fetch_add(1, Ordering::SeqCst);
                let script = Arc::clone(&script);
                thread::spawn(move || script(number, Wire(stream)));
            }
        });
        Self { port, connections }
    }

    /// Connections so far.
    pub fn connections(&self) -> usize {
        self.connections.load(Ordering::SeqCst)
    }
}

impl Wire {
    /// The next packet; `None` when the client is gone.
    pub fn read(&mut self) -> Option<Packet> {
        let mut byte = [0];
        self.0.read_exact(&mut byte).ok()?;
        let first = byte[0];
        let (mut length, mut shift) = (0, 0);
        loop {
            self.0.read_exact(&mut byte).ok()?;
            length |= usize::from(byte[0] & 0x7f) << shift;
            shift += 7;
            if byte[0] & 0x80 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        self.0.read_exact(&mut body).ok()?;
        Some(Packet { first, body })
    }

    /// Sends bytes as they are.
    pub fn write(&mut self, bytes: &[u8]) {
        // The client may be gone; the test sees that by what it does.
        let _ = self.0.write_all(bytes);
    }

    /// Takes the CONNECT and accepts it.
    pub fn accept(&mut self, session_present: bool) -> Option<()> {
        let connect = self.read()?;
        assert_eq!(connect.first, 0x10, "CONNECT comes first (3.1)");
        self.write(&[0x20, 2, u8::from(session_present), 0]);
        Some(())
    }
}

impl Packet {
    /// Topic and payload of a PUBLISH with QoS 1.
    pub fn published(&self) -> Option<(String, String)> {
        if self.first & 0xf6 != 0x32 {
            return None;
        }
        let length = usize::from(u16::from_be_bytes([self.body[0], self.body[1]]));
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Some((
            text(&self.body[2..2 + length]),
            text(&self.body[4 + length..]),
        ))
    }

    /// The filters of a SUBSCRIBE.
    pub fn filters(&self) -> Option<Vec<String>> {
        if self.first != 0x82 {
            return None;
        }
        let (mut filters, mut rest) = (Vec::new(), &self.body[2..]);
        while rest.len() > 2 {
            let length = usize::from(u16::from_be_bytes([rest[0], rest[1]]));
            filters.push(String::from_utf8_lossy(&rest[2..2 + length]).into_owned());
            rest = &rest[3 + length..];
        }
        Some(filters)
    }
}
