//! Acknowledgements we owe the broker. They must go out in the order in which the messages came in
//! (MQTT 3.1.1, 4.6), whatever the order in which the application is done with them.

use std::collections::VecDeque;

use super::Receipt;

/// Acknowledgements owed on the present connection.
#[derive(Debug, Default)]
pub(super) struct Receipts {
    epoch: u64,
    owed: VecDeque<Owed>,
}

#[derive(Debug)]
struct Owed {
    packet_id: u16,
    quality: u8,
    ready: bool,
}

impl Receipts {
    /// A new connection: what was owed on the old one is void, its messages will come again.
    pub(super) fn begin(&mut self) {
        self.epoch += 1;
        self.owed.clear();
    }

    /// A message came that needs no word from the application.
    pub(super) fn settled(&mut self, packet_id: u16, quality: u8) {
        self.owed.push_back(Owed {
            packet_id,
            quality,
            ready: true,
        });
    }

    /// A message came that the application will acknowledge.
    pub(super) fn open(&mut self, packet_id: u16, quality: u8) -> Receipt {
        self.owed.push_back(Owed {
            packet_id,
            quality,
            ready: false,
        });
        Receipt {
            epoch: self.epoch,
            packet_id,
        }
    }

    /// The application is done with a message. Receipts of an older connection mean nothing now.
    pub(super) fn acknowledge(&mut self, receipt: &Receipt) {
        if receipt.epoch == self.epoch {
            let owed = (self.owed.iter_mut())
                .find(|owed| owed.packet_id == receipt.packet_id && !owed.ready);
            if let Some(owed) = owed {
                owed.ready = true;
            }
        }
    }

    /// The packet id and quality of service to acknowledge next, if its turn has come.
    pub(super) fn next(&self) -> Option<(u16, u8)> {
        let owed = self.owed.front()?;
        owed.ready.then_some((owed.packet_id, owed.quality))
    }

    /// The acknowledgement of [`Receipts::next`] is on its way.
    pub(super) fn sent(&mut self) {
        self.owed.pop_front();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drain(receipts: &mut Receipts) -> Vec<u16> {
        std::iter::from_fn(|| {
            let (packet_id, _) = receipts.next()?;
            receipts.sent();
            Some(packet_id)
        })
        .collect()
    }

    #[test]
    fn acknowledgements_go_out_in_the_order_of_arrival() {
        let mut receipts = Receipts::default();
        receipts.begin();
        receipts.settled(1, 1);
        let second = receipts.open(2, 1);
        let third = receipts.open(3, 1);
        receipts.settled(4, 1);
        receipts.acknowledge(&third);
        assert_eq!(drain(&mut receipts), [1]);
        receipts.acknowledge(&second);
        assert_eq!(drain(&mut receipts), [2, 3, 4]);
    }

    #[test]
    fn receipts_of_an_older_connection_mean_nothing() {
        let mut receipts = Receipts::default();
        receipts.begin();
        let old = receipts.open(1, 1);
        receipts.begin();
        let new = receipts.open(1, 1);
        receipts.acknowledge(&old);
        assert_eq!(drain(&mut receipts), [0; 0]);
        receipts.acknowledge(&new);
        assert_eq!(drain(&mut receipts), [1]);
    }
}
