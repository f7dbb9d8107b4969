//! What befalls the demonstration's household, by the day, and what its keeper tells of it. Its
//! keeper's regular care is `keeper.rs`'s.

use serde_json::{Value, json};

use super::super::firmware::Published;
use super::LINE_PSI;

/// Something that happens.
#[derive(Clone, Debug)]
pub(super) enum Happening {
    /// The line pressure is this from now on, psi.
    LinePressure(f64),
    /// Water lies under the unit, or no longer.
    Leak(bool),
    /// The board of the TDS probes loses its power, or has it again.
    QualityBoard {
        /// Whether it has.
        powered: bool,
    },
    /// Nobody is at home, or they are back.
    Away(bool),
    /// A stage is replaced, and the keeper tells of it.
    Replaced {
        /// Its id.
        stage: &'static str,
        /// Of the new one.
        lot: &'static str,
        /// Of the new one.
        price: f64,
    },
    /// The keeper tells the unit something.
    Told(Published),
}

/// What the keeper tells the unit: a command behind `do/`.
pub(super) fn told(command: &str, payload: &Value) -> Published {
    Published {
        topic: format!("permeated/basement/do/{command}"),
        payload: payload.to_string(),
        retain: false,
    }
}

/// Everything, in the order of the days.
pub(super) fn story() -> Vec<(f64, Happening)> {
    use Happening::{Away, Leak, LinePressure, QualityBoard};
    let tell = |command: &str, payload: Value| Happening::Told(told(command, &payload));
    let note = |text: &str| tell("note", json!({ "text": text }));
    let chlorine = |value: &str, note: &str| {
        tell(
            "test/total_chlorine",
            json!({ "value": value, "note": note }),
        )
    };
    vec![
        (
            0.30,
            note("new membrane and new resin; the carbon is from before"),
        ),
        (0.40, tell("test/alkalinity", json!("80 mg/L CaCO3"))),
        (0.41, tell("test/hardness", json!("110 mg/L CaCO3"))),
        (0.42, tell("test/ph", json!("7.65"))),
        (0.43, tell("test/disinfectant_level", json!("0.5 mg/L"))),
        (0.44, chlorine("0 mg/L", "behind both carbon blocks")),
        (18.20, LinePressure(36.0)),
        (19.40, note("the water works mend the main in our street")),
        (22.60, LinePressure(LINE_PSI)),
        (41.30, Leak(true)),
        (
            41.34,
            tell("alert/leak/acknowledge", json!({ "note": "on my way" })),
        ),
        (41.42, Leak(false)),
        (
            41.45,
            note("a fitting of the drain line had worked loose; seated anew, tray wiped dry"),
        ),
        (58.10, QualityBoard { powered: false }),
        (61.70, QualityBoard { powered: true }),
        (61.75, note("the plug of the TDS board had slipped out")),
        (
            95.75,
            chlorine("0.2 mg/L", "both blocks are past their time"),
        ),
        (96.80, replaced("carbon_1", "C-21", 16.5)),
        (96.81, replaced("carbon_2", "C-21", 16.5)),
        (96.82, replaced("sediment", "S-07", 7.9)),
        (97.00, chlorine("0 mg/L", "behind the new blocks")),
        (180.70, chlorine("0 mg/L", "")),
        (
            181.40,
            tell("sanitised", json!({ "note": "housings and tubing" })),
        ),
        (188.00, Away(true)),
        (197.00, Away(false)),
    ]
}

fn replaced(stage: &'static str, lot: &'static str, price: f64) -> Happening {
    Happening::Replaced { stage, lot, price }
}

/// What the keeper tells of a stage that was replaced.
pub(super) fn told_replaced(stage: &str, lot: &str, price: f64) -> Published {
    let payload = json!({ "lot": lot, "price": price });
    told(&format!("stage/{stage}/replaced"), &payload)
}
