//! What the load tool needs of MQTT 3.1.1, packet by packet.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::{
    io::{Read, Write},
    net::TcpStream,
    process, thread,
};

pub const CONNECT: u8 = 0x10;
pub const PUBLISH: u8 = 0x30;
pub const PUBACK: u8 = 0x40;
pub const SUBSCRIBE: u8 = 0x82;

pub fn put_text(body: &mut Vec<u8>, text: &str) {
    body.extend(u16::try_from(text.len()).unwrap().to_be_bytes());
    body.extend(text.as_bytes());
}

pub fn packet(kind: u8, body: &[u8]) -> Vec<u8> {
    let mut packet = vec![kind];
    let mut length = body.len();
    loop {
        let more = if length > 127 { 128 } else { 0 };
        packet.push(u8::try_from(length % 128).unwrap() | more);
        length /= 128;
        if length == 0 {
            break;
        }
    }
    packet.extend(body);
    packet
}

pub fn connect(broker: &str, role: &str) -> TcpStream {
    let mut socket = TcpStream::connect(broker).expect("a broker");
    socket.set_nodelay(true).unwrap();
    let mut body = Vec::new();
    put_text(&mut body, "MQTT");
    // Protocol level 4, a clean session, no keep-alive.
    body.extend([4, 2, 0, 0]);
    put_text(&mut body, &format!("bench-{role}-{}", process::id()));
    socket.write_all(&packet(CONNECT, &body)).unwrap();
    let mut answer = [0; 4];
    socket.read_exact(&mut answer).unwrap();
    assert_eq!(answer[3], 0, "the broker refuses us");
    socket
}

pub fn subscribe(socket: &mut TcpStream, filter: &str, qos: u8) {
    let mut body = vec![0, 1];
    put_text(&mut body, filter);
    body.push(qos);
    socket.write_all(&packet(SUBSCRIBE, &body)).unwrap();
    socket.read_exact(&mut [0; 5]).unwrap();
}

/// Gives every packet that comes to `take`, with room for an answer.
pub fn hear(mut socket: TcpStream, mut take: impl FnMut(u8, &[u8], &mut Vec<u8>) + Send + 'static) {
    thread::spawn(move || {
        let (mut buffer, mut filled, mut reply) = (vec![0; 1 << 18], 0, Vec::new());
        while let Ok(read @ 1..) = socket.read(&mut buffer[filled..]) {
            filled += read;
            let mut begin = 0;
            while let Some((kind, body, end)) = first(&buffer[begin..filled]) {
                take(kind, body, &mut reply);
                begin += end;
            }
            buffer.copy_within(begin..filled, 0);
            filled -= begin;
            if socket.write_all(&reply).is_err() {
                return;
            }
            reply.clear();
        }
    });
}

/// The first packet if it is all there: its kind, its body and where it ends.
pub fn first(buffer: &[u8]) -> Option<(u8, &[u8], usize)> {
    let (mut length, mut shift, mut at) = (0, 0, 1);
    loop {
        let byte = *buffer.get(at)?;
        length |= usize::from(byte & 127) << shift;
        shift += 7;
        at += 1;
        if byte & 128 == 0 {
            break;
        }
    }
    let body = buffer.get(at..at + length)?;
    Some((buffer[0], body, at + length))
}
