//! Lines of a recorded log, and the same messages as a table.

use permeated::wire::log::{Entry, Table, What, delimiter};

use super::world::settings;

/// What reads writes and reads again to the same; a message reads alike from a table. Bytes that are a
/// table read or are refused.
pub fn take(bytes: &[u8]) {
    for line in bytes.split(|byte| *byte == b'\n') {
        if let Ok(text) = std::str::from_utf8(line)
            && let Ok(entry) = Entry::read(text)
        {
            written_and_read(&entry);
            as_table(&entry);
        }
    }
    table(bytes);
}

fn written_and_read(entry: &Entry) {
    let mut written = Vec::new();
    assert!(entry.write(&mut written).is_ok());
    let text = String::from_utf8_lossy(&written);
    assert!(!text.contains('\n'), "one line: {text}");
    assert_eq!(Entry::read(&text).as_ref(), Ok(entry), "{text}");
}

fn as_table(entry: &Entry) {
    let What::Message(message) = &entry.what else {
        return;
    };
    let Ok(payload) = std::str::from_utf8(&message.payload) else {
        return;
    };
    // A table has no word for a message without a topic.
    if message.topic.is_empty() {
        return;
    }
    let flag = |is: bool| if is { "true" } else { "" };
    let time = entry.time.to_rfc3339();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = ["time", "topic", "payload", "retain", "late"];
    let retained = flag(message.arrival == permeated::core::Arrival::Retained);
    let late = flag(message.arrival == permeated::core::Arrival::Late);
    let row = [&time, &*message.topic, payload, retained, late];
    assert!(writer.write_record(header).is_ok() && writer.write_record(row).is_ok());
    let text = writer.into_inner().unwrap_or_default();
    let entries = table(&text);
    let mut expected = entry.clone();
    expected.mono = None;
    if let What::Message(message) = &mut expected.what {
        message.packet = None;
    }
    assert_eq!(entries, [expected], "{}", String::from_utf8_lossy(&text));
}

/// The entries of a table up to the first that is wrong.
pub fn table(bytes: &[u8]) -> Vec<Entry<'static>> {
    let separator = delimiter(&String::from_utf8_lossy(bytes));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .from_reader(bytes);
    let Ok(header) = reader.headers() else {
        return Vec::new();
    };
    let Ok(table) = Table::new(header, settings()) else {
        return Vec::new();
    };
    let records = reader.records().map_while(Result::ok);
    records
        .map_while(|record| table.read(&record).ok())
        .collect()
}
