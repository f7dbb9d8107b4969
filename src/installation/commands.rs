//! What a keeper tells a unit, on whichever topic it comes.

use super::{Incoming, Installation, Seat};
use crate::{
    core::{Arrival, Keep},
    time::Now,
    wire::command,
};

impl Installation {
    /// A command on `do/…`.
    pub(super) fn hear_command(&mut self, now: Now, message: Incoming) -> Option<Keep> {
        let rest = message
            .topic
            .strip_prefix(self.prefix())?
            .strip_prefix('/')?;
        let (id, path) = rest.split_once('/')?;
        let path = path.strip_prefix("do/")?;
        let seat = self.seats.iter().position(|seat| {
            let settings = seat.unit.settings();
            settings.takes_commands && settings.id == id
        })?;
        self.carry_out(seat, now, path, message.payload, message.arrival);
        Some(Keep::Now)
    }

    /// Carries a command out, or says why not.
    pub(super) fn carry_out(
        &mut self,
        seat: usize,
        now: Now,
        path: &str,
        payload: &[u8],
        arrival: Arrival,
    ) {
        let Some(Seat {
            unit, publisher, ..
        }) = self.seats.get_mut(seat)
        else {
            return;
        };
        let read = if arrival == Arrival::Retained {
            Err(
                "a retained command is refused: it would be carried out again at every connection"
                    .to_owned(),
            )
        } else {
            command::read(unit.settings(), now, path, payload)
        };
        match read {
            Ok(command) => unit.command(now, command),
            Err(reason) => unit.refuse(now, path, reason),
        }
        publisher.stir();
        self.settle(seat, now);
    }
}
