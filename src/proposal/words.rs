//! Names in words, and what the words mean: what is sensed, where in the train, and what has nothing
//! to do with water. English, with the commonest German, French, Spanish, Italian and Dutch names of
//! the quantities; what people call things is common practice, no source.

use crate::config::Sensed;

/// A name in its words, in lower case: at spaces and signs, at `camelCase`, before trailing digits.
pub(super) fn words(name: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for part in name.split(|c: char| !c.is_alphanumeric()) {
        let letters: Vec<char> = part.chars().collect();
        let mut word = String::new();
        for (at, letter) in letters.iter().enumerate() {
            if begins_word(&letters, at) && !word.is_empty() {
                found.push(std::mem::take(&mut word));
            }
            word.extend(letter.to_lowercase());
        }
        if !word.is_empty() {
            found.push(word);
        }
    }
    joined(found)
}

fn begins_word(letters: &[char], at: usize) -> bool {
    let Some(before) = at.checked_sub(1).and_then(|before| letters.get(before)) else {
        return false;
    };
    let (here, after) = (letters[at], letters.get(at + 1));
    let camel = before.is_lowercase() && here.is_uppercase();
    // The last capital of "TDSFeed" begins the next word.
    let acronym = before.is_uppercase()
        && here.is_uppercase()
        && after.is_some_and(|after| after.is_lowercase());
    let number = !before.is_numeric() && letters[at..].iter().all(|letter| letter.is_numeric());
    // "pH" is one word, and "mS" a unit.
    let is_one = (*before == 'p' && here == 'H')
        || (matches!(before, 'u' | 'm' | '\u{b5}' | '\u{3bc}') && here == 'S' && at == 1);
    (camel && !is_one) || acronym || number
}

/// What people write in one word or in two.
fn joined(words: Vec<String>) -> Vec<String> {
    const PAIRS: [(&str, &str, &str); 6] = [
        ("ro", "di", "rodi"),
        ("us", "cm", "uscm"),
        ("ms", "cm", "mscm"),
        ("\u{b5}s", "cm", "uscm"),
        ("\u{3bc}s", "cm", "uscm"),
        ("reverse", "osmosis", "osmosis"),
    ];
    let mut found: Vec<String> = Vec::with_capacity(words.len());
    for word in words {
        let pair = found.last().and_then(|before| {
            let same = |(one, two, _): &&(&str, &str, &str)| before == one && word == *two;
            PAIRS.iter().find(same)
        });
        match pair {
            Some((_, _, whole)) => {
                found.pop();
                found.push((*whole).to_owned());
            }
            None => found.push(word),
        }
    }
    found
}

/// The first of `words` that is in `list`, words with spaces between.
pub(super) fn any<'w>(words: &'w [String], list: &str) -> Option<&'w str> {
    words
        .iter()
        .map(String::as_str)
        .find(|word| is_in(word, list))
}

/// Whether a word is in a list of words with spaces between.
pub(super) fn is_in(word: &str, list: &str) -> bool {
    list.split_ascii_whitespace().any(|known| known == word)
}

/// Names that only a unit of this trade has.
pub(super) const OF_THE_TRADE: &str = "rodi ro osmosis osmose umkehrosmose osmoseanlage osmosi permeate permeat membrane \
         membran tds reject rejection concentrate retentate brine resin deionised deionized \
         prefilter";
/// Names of water in general.
pub(super) const OF_WATER: &str =
    "water wasser eau agua acqua filter tap purifier waste feed product di";

/// Where in the train, by its usual names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Place {
    Supply,
    Feed,
    BehindStage,
    Pump,
    Permeate,
    Product,
    Concentrate,
    Storage,
    /// One of the ends, of whatever.
    In,
    Out,
}

impl Place {
    pub(super) const NAMES: &[(Self, &str)] = &[
        (Self::Supply, "supply mains line tap house city raw street"),
        (
            Self::Feed,
            "feed feedwater speisewasser zulauf rohwasser influent",
        ),
        (
            Self::BehindStage,
            "carbon sediment prefilter cation anion kohle aktivkohle",
        ),
        (Self::Pump, "boost booster"),
        (
            Self::Permeate,
            "permeate permeat perm filtrate membrane postro",
        ),
        (
            Self::Product,
            "product produkt deionised deionized pure purified final resin mixedbed reinwasser postdi",
        ),
        (
            Self::Concentrate,
            "concentrate konzentrat conc waste wastewater drain brine reject retentate abwasser",
        ),
        (Self::Storage, "tank storage reservoir barrel speicher"),
        (Self::In, "in inlet input inflow before ein"),
        (Self::Out, "out outlet output outflow after effluent aus"),
    ];

    /// As people would say it.
    pub(super) fn text(self) -> &'static str {
        match self {
            Self::Supply => "the supply",
            Self::Feed => "the feed",
            Self::BehindStage => "a stage before the membrane",
            Self::Pump => "the booster pump",
            Self::Permeate => "the permeate",
            Self::Product => "the product",
            Self::Concentrate => "the concentrate",
            Self::Storage => "the storage",
            Self::In => "an inlet",
            Self::Out => "an outlet",
        }
    }
}

/// Every place that the words name.
pub(super) fn places(words: &[String]) -> Vec<(Place, &str)> {
    Place::NAMES
        .iter()
        .filter_map(|(place, names)| Some((*place, any(words, names)?)))
        .collect()
}

/// Names of what is sensed, the surest first.
pub(super) const QUANTITIES: &[(Sensed, &str)] = &[
    (
        Sensed::Dissolved,
        "tds ec conductivity conductance leitwert leitf\u{e4}higkeit leitfaehigkeit conductivite \
         conductividad ppm uscm mscm",
    ),
    (
        Sensed::Temperature,
        "temperature temp temperatur temperatura thermometer ds18b celsius fahrenheit temperatuur \
         watertemp",
    ),
    (
        Sensed::Pressure,
        "pressure druck pression presion pressione psi kpa manometer wasserdruck druk",
    ),
    (
        Sensed::Flow,
        "flow flowrate durchfluss debit caudal portata gpd gpm gph lpm lph flowmeter pulses pulse \
         impulse ticks litres liters litre liter gallons volume meter usage",
    ),
    (
        Sensed::Contact,
        "leak waterleak flood leck leckage fuite wet moisture pump pumpe valve solenoid ventil \
         booster shutoff flush",
    ),
    (
        Sensed::Volume,
        "level f\u{fc}llstand fuellstand niveau fill",
    ),
];

/// Names of a count of what passed.
pub(super) const COUNTS: &str = "pulses pulse impulse count counts counter ticks total cumulative totalizer litres liters \
         litre liter gallons volume usage consumption";
/// Names of what passed since the message before.
pub(super) const INCREMENTS: &str = "delta increment increments since diff";

/// What is heard in a house and has nothing to do with the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Elsewhere {
    Air,
    Electricity,
    Radio,
    Board,
    Heat,
    Light,
    Life,
    Text,
    NoWater,
    NoPoint,
}

impl Elsewhere {
    /// What was passed over, for people.
    pub(super) fn text(self) -> &'static str {
        match self {
            Self::Air => "air and weather",
            Self::Electricity => "electricity",
            Self::Radio => "radio and batteries",
            Self::Board => "boards about themselves",
            Self::Heat => "heating, pool, gas",
            Self::Light => "lights and switches",
            Self::Life => "aquarium, garden, plants",
            Self::Text => "texts and times",
            Self::NoWater => "nothing that tells of such a unit",
            Self::NoPoint => "of the unit, but of no use here",
        }
    }
}

const ELSEWHERE: &[(Elsewhere, &str)] = &[
    (
        Elsewhere::Radio,
        "battery linkquality rssi lqi signal wifi bssid ssid snr channel radio airtime fcnt \
         bandwidth spreading gateway mqttcount lora rx",
    ),
    (
        Elsewhere::Electricity,
        "power energy current kwh watt apparent reactive watts aenergy apower amps mains_voltage \
         solar pv grid inverter ev",
    ),
    (
        Elsewhere::Board,
        "uptime heap loadavg sleep id address serial vcc cpu chip mem memory ram version firmware ip mac boot \
         bootcount restart esp internal interval errors debug log fs port update config build \
         disk logger",
    ),
    (
        Elsewhere::Heat,
        "heating boiler radiator thermostat setpoint target hvac pool gas oil heatpump vorlauf \
         ruecklauf r\u{fc}cklauf floor oven fridge freezer hotwater heizung heater kettle \
         dishwasher dryer engine tyre tire car",
    ),
    (
        Elsewhere::Air,
        "humidity humid dewpoint dew co voc tvoc pm air ambient room illuminance lux barometer \
         barometric bme bmp sht aht dht scd outdoor outside indoor weather wind rain uv absolute \
         sea atmospheric livingroom bedroom bathroom garage attic cabinet smoke airquality",
    ),
    (
        Elsewhere::Light,
        "brightness color colour dimmer light lamp hue saturation occupancy motion presence door \
         window blind cover media player tv doorbell",
    ),
    (
        Elsewhere::Life,
        "soil plant flora ph orp aquarium sump reef salinity alkalinity skimmer wavemaker chiller \
         garden greenhouse hydroponics",
    ),
];

/// The first word that tells of something else, and of what.
pub(super) fn elsewhere(words: &[String]) -> Option<(Elsewhere, &str)> {
    ELSEWHERE
        .iter()
        .find_map(|(what, names)| Some((*what, any(words, names)?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_fall_into_words() {
        for (name, expected) in [
            ("permeate_tds_ppm", "permeate tds ppm"),
            ("permeateTDS", "permeate tds"),
            ("TDSFeed", "tds feed"),
            ("RO-DI", "rodi"),
            ("DS18B20-1", "ds18b 20 1"),
            ("tC", "t c"),
            ("pH", "ph"),
            ("feed-tds2", "feed tds 2"),
            ("temperature:100", "temperature 100"),
            ("F\u{fc}llstand Tank", "f\u{fc}llstand tank"),
            ("\u{b5}S/cm", "uscm"),
            ("", ""),
        ] {
            assert_eq!(words(name).join(" "), expected, "{name}");
        }
    }

    #[test]
    fn a_place_is_named_once() {
        let places = |name: &str| -> Vec<Place> {
            (super::places(&words(name)).iter())
                .map(|(place, _)| *place)
                .collect()
        };
        assert_eq!(places("feed_tds"), [Place::Feed]);
        assert_eq!(places("tds_out"), [Place::Out]);
        assert_eq!(places("waste flow"), [Place::Concentrate]);
        assert_eq!(places("tds"), []);
    }
}
