//! How the figures came about, and what they do not prove.

use maud::{Markup, html};

use super::{facts::Facts, parts::section};
use crate::core::alert::CAUTION;

/// The section.
#[must_use]
pub fn method(facts: &Facts) -> Markup {
    let content = html! {
        ul {
            li { "Litres are differences of the unit's ever-growing sums at midnight. The past grows coarse: after three days hours are kept, after three months days (of universal time). Water of an hour or day that reaches over midnight is given to either side as the runs tell, whose times are kept for ever; the whole is the same however it is cut." }
            li { "Litres that a meter counted while nothing was recorded are spread over that time." }
            li { "A run belongs to the day on which it began. Its figures are those of its steady part, once the first, salty permeate was washed out." }
            li { "Normalised means: referred to the pressure, temperature, salinity and recovery of the rating, after ASTM D4516. Rejection is by conductivity, as meters show it." }
            li { "TDS is conductivity times " (facts.settings().tds_scale.factor()) "; other scales give other figures." }
            li { "Days and months are those of the unit's time zone; a day has 23 or 25 hours when the clocks change." }
            li { "What is left of a stage and when it falls due is as of the writing of this report, not of the end of its period." }
            li { "Costs are your prices times what was counted." }
        }
        p.caution { strong { "Cautions. " } (CAUTION) " TDS and conductivity say nothing of germs, lead, nitrate, PFAS or chloramine; a reading of 0 means less than about 1 mg/L, not pure. Inexpensive sensors drift: compare them with a calibrated meter now and then. Do not use this for dialysis, laboratory or medical purposes. Relieve the pressure before you open anything." }
    };
    section("method", "Method and cautions", &content)
}
