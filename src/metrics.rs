//! The catalogue of every metric: name, unit, precision, meaning. Messages, adapters, `check` and
//! the documentation are driven by it, so a metric added here appears everywhere.

/// The document a metric is part of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// What flows now.
    Now,
    /// What the membrane does: while it runs, and held from the last run in between.
    Membrane,
    /// What the membrane's runs have taught over its life.
    Wear,
    /// What tests by hand and the feed's analysis say of the membrane.
    Chemistry,
    /// Ever-growing sums, and what they come to by the day and by the run.
    Totals,
    /// What the product costs.
    Costs,
}

/// Stands in a unit for the currency that the owner configured.
const CURRENCY: &str = "currency";

/// What is said of a metric.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Description {
    /// Its name, ending in its unit: part of topics, a public contract.
    pub name: &'static str,
    /// Its unit as people and hubs write it; empty for a pure number.
    pub unit: &'static str,
    /// Digits after the point when published: noise beyond them is no news.
    pub decimals: u8,
    /// What it means, in one sentence.
    pub meaning: &'static str,
}

impl Description {
    /// The value as published: rounded to the metric's decimals, never `-0`.
    #[must_use]
    pub fn round(&self, value: f64) -> f64 {
        rounded(value, self.decimals)
    }

    /// Its unit in an installation whose prices are in `currency`, which stands for that word in `unit`.
    #[must_use]
    pub fn unit_in(&self, currency: &str) -> String {
        self.unit.replace(CURRENCY, currency)
    }

    /// The value as kept of a run: three digits more than published are far below what any sensor
    /// tells, and short as text.
    #[must_use]
    pub fn kept(&self, value: f64) -> f64 {
        rounded(value, self.decimals + 3)
    }
}

/// Rounded to so many digits after the point, never `-0`.
pub(crate) fn rounded(value: f64, decimals: u8) -> f64 {
    let factor = 10f64.powi(i32::from(decimals));
    let rounded = (value * factor).round() / factor;
    if rounded == 0.0 { 0.0 } else { rounded }
}

macro_rules! catalogue {
    ($(#[$doc:meta])* $type:ident { $($variant:ident, $group:ident, $name:literal, $unit:literal, $decimals:literal, $meaning:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $type {
            $(#[doc = $meaning] $variant,)+
        }

        impl $type {
            /// Every one, in the order of the documents.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The document it is part of.
            #[must_use]
            pub fn group(self) -> Group {
                match self { $(Self::$variant => Group::$group,)+ }
            }

            /// Name, unit, precision and meaning.
            #[must_use]
            pub fn description(self) -> &'static Description {
                match self {
                    $(Self::$variant => &Description {
                        name: $name, unit: $unit, decimals: $decimals, meaning: $meaning,
                    },)+
                }
            }
        }
    };
}

catalogue! {
    /// A metric of a unit.
    Metric {
        FeedFlow, Now, "feed_flow_l_min", "L/min", 3, "Flow into the unit.";
        PermeateFlow, Now, "permeate_flow_l_min", "L/min", 4, "Flow of permeate.";
        ConcentrateFlow, Now, "concentrate_flow_l_min", "L/min", 3, "Flow of concentrate to the drain.";
        SupplyPressure, Now, "supply_pressure_bar", "bar", 2, "Line pressure at the inlet.";
        FeedPressure, Now, "feed_pressure_bar", "bar", 2, "Pressure at the membrane inlet.";
        ConcentratePressure, Now, "concentrate_pressure_bar", "bar", 2, "Pressure of the concentrate before the restrictor.";
        PermeatePressure, Now, "permeate_pressure_bar", "bar", 2, "Back-pressure on the permeate.";
        FeedTemperature, Now, "feed_temperature_c", "°C", 1, "Temperature of the feed.";
        FeedTds, Now, "feed_tds_mg_l", "mg/L", 1, "TDS of the feed, in the unit's scale.";
        PermeateTds, Now, "permeate_tds_mg_l", "mg/L", 1, "TDS after the membrane, before DI, in the unit's scale.";
        ProductTds, Now, "product_tds_mg_l", "mg/L", 1, "TDS of the product, after the last DI stage, in the unit's scale.";
        ConcentrateTds, Now, "concentrate_tds_mg_l", "mg/L", 1, "TDS of the concentrate, measured or by balance, in the unit's scale.";
        FeedConductivity, Now, "feed_conductivity_us_cm", "µS/cm", 1, "Conductivity of the feed at 25 °C.";
        PermeateConductivity, Now, "permeate_conductivity_us_cm", "µS/cm", 2, "Conductivity after the membrane at 25 °C.";
        ProductConductivity, Now, "product_conductivity_us_cm", "µS/cm", 2, "Conductivity of the product at 25 °C.";
        StorageLevel, Now, "storage_level_l", "L", 1, "Volume in the storage.";
        Rejection, Membrane, "rejection_pct", "%", 2, "Rejection: the share of the feed's conductivity that the membrane holds back.";
        SaltPassage, Membrane, "salt_passage_pct", "%", 2, "Salt passage: permeate conductivity as a share of the feed's.";
        NormalizedSaltPassage, Membrane, "normalized_salt_passage_pct", "%", 2, "Salt passage referred to the conditions of the rating.";
        Recovery, Membrane, "recovery_pct", "%", 1, "Recovery: permeate as a share of the feed.";
        WasteRatio, Membrane, "waste_ratio", "", 2, "Parts of concentrate to one part of permeate.";
        NetDrivingPressure, Membrane, "net_driving_pressure_bar", "bar", 2, "Pressure that drives water through the membrane, less back-pressure and osmosis.";
        TemperatureCorrection, Membrane, "temperature_correction", "", 3, "Factor by which water of this temperature permeates faster than at 25 °C.";
        FlowAt25C, Membrane, "permeate_flow_at_25c_l_min", "L/min", 4, "Permeate flow corrected to 25 °C at the present pressure.";
        NormalizedFlow, Membrane, "normalized_flow_l_min", "L/min", 4, "Permeate flow referred to the conditions of the rating.";
        NormalizedFlowOfRating, Membrane, "normalized_flow_of_rating_pct", "%", 1, "Normalised flow as a share of the rated flow.";
        NormalizedFlowOfBaseline, Membrane, "normalized_flow_of_baseline_pct", "%", 1, "Normalised flow as a share of this element's own baseline.";
        ExpectedFlow, Membrane, "expected_flow_l_min", "L/min", 4, "Permeate flow an element as rated would give under the present conditions.";
        SpecificFlux, Membrane, "specific_flow_l_h_bar", "L/h/bar", 3, "Permeate flow at 25 °C for each bar of net driving pressure.";
        SaltPassageOfBaseline, Membrane, "salt_passage_of_baseline_pct", "%", 1, "Salt passage as a share of this element's own baseline, at the same conditions.";
        Shortfall, Membrane, "shortfall_l_d", "L/d", 1, "What a day of running gives less than the rating: the rated flow less the present one.";
        ShortfallPressure, Membrane, "shortfall_pressure_l_d", "L/d", 1, "The part of the shortfall that feed pressure costs (negative: gains).";
        ShortfallBackPressure, Membrane, "shortfall_back_pressure_l_d", "L/d", 1, "The part that back-pressure on the permeate and the drop along the membrane cost.";
        ShortfallTemperature, Membrane, "shortfall_temperature_l_d", "L/d", 1, "The part that the temperature costs.";
        ShortfallSalinity, Membrane, "shortfall_salinity_l_d", "L/d", 1, "The part that osmotic pressure costs.";
        ShortfallMembrane, Membrane, "shortfall_membrane_l_d", "L/d", 1, "The part that the element itself costs: wear, fouling, its maker's tolerance.";
        BoostedFlow, Membrane, "boosted_flow_l_d", "L/d", 1, "What a day of running would give with this element at `boost_pressure`, everything else as it is.";
        PrefilterDrop, Membrane, "prefilter_drop_bar", "bar", 2, "Pressure lost in the pre-filters, referred to a feed of 1 L/min.";
        FlowResponse, Wear, "flow_response_k", "K", 0, "Learned response of the flow to temperature: U in exp(U·(1/298 − 1/(273 + T))); the handbook has 3020.";
        FlowResponseMargin, Wear, "flow_response_margin_k", "K", 0, "Its uncertainty: half the width of the 95 % band.";
        ResponseToHandbook, Wear, "flow_response_to_handbook_pct", "%", 1, "How much more (or less) water the learned response gives at 10 °C than the handbook's.";
        FlowTrend, Wear, "flow_trend_of_baseline_pct", "%", 1, "Level of the normalised flow over the last runs as a share of the baseline.";
        FlowTrendMargin, Wear, "flow_trend_margin_pct", "%", 1, "Its uncertainty: half the width of the 95 % band.";
        FlowChange, Wear, "flow_change_pct_month", "%/month", 2, "Change of the normalised flow in a month, by a robust slope.";
        FlowChangeMargin, Wear, "flow_change_margin_pct_month", "%/month", 2, "Its uncertainty: half the width of the 95 % band.";
        FlowLimitEarliest, Wear, "flow_limit_earliest_d", "d", 0, "Days until the normalised flow reaches its limit, at the earliest.";
        FlowLimitLikely, Wear, "flow_limit_likely_d", "d", 0, "Days until the normalised flow reaches its limit, at the present change.";
        FlowLimitLatest, Wear, "flow_limit_latest_d", "d", 0, "Days until the normalised flow reaches its limit, at the latest.";
        SmallestFlowChange, Wear, "smallest_flow_change_pct", "%", 1, "The smallest lasting change of the flow that 30 runs of this unit's scatter can show.";
        SaltResponse, Wear, "salt_response_k", "K", 0, "Learned response of the salt's passage to temperature, as for the flow.";
        SaltResponseMargin, Wear, "salt_response_margin_k", "K", 0, "Its uncertainty: half the width of the 95 % band.";
        SaltTrend, Wear, "salt_trend_of_baseline_pct", "%", 1, "Level of the normalised salt passage over the last runs as a share of the baseline.";
        SaltTrendMargin, Wear, "salt_trend_margin_pct", "%", 1, "Its uncertainty: half the width of the 95 % band.";
        SaltChange, Wear, "salt_change_pct_month", "%/month", 2, "Change of the normalised salt passage in a month, by a robust slope.";
        SaltChangeMargin, Wear, "salt_change_margin_pct_month", "%/month", 2, "Its uncertainty: half the width of the 95 % band.";
        SaltLimitEarliest, Wear, "salt_limit_earliest_d", "d", 0, "Days until so much salt passes that the rejection is at its limit, at the earliest.";
        SaltLimitLikely, Wear, "salt_limit_likely_d", "d", 0, "Days until so much salt passes that the rejection is at its limit, at the present change.";
        SaltLimitLatest, Wear, "salt_limit_latest_d", "d", 0, "Days until so much salt passes that the rejection is at its limit, at the latest.";
        SmallestSaltChange, Wear, "smallest_salt_change_pct", "%", 1, "The smallest lasting change of the salt passage that 30 runs of this unit's scatter can show.";
        ScalingIndex, Chemistry, "scaling_index", "", 2, "Saturation index of the concentrate for calcium carbonate (ASTM D3739), by the feed's analysis and the last settled run.";
        SafeRecovery, Chemistry, "safe_recovery_pct", "%", 1, "Recovery at which that index reaches its limit; 90 at most, 0 where the feed itself is beyond it.";
        ChlorineExposureLow, Chemistry, "chlorine_exposure_low_ppm_h", "ppm·h", 1, "What the element has at least been exposed to: total chlorine times hours of making water, from positive tests only.";
        ChlorineExposure, Chemistry, "chlorine_exposure_ppm_h", "ppm·h", 1, "The same, counted from the middle between the last good and the first positive test.";
        ChlorineExposureHigh, Chemistry, "chlorine_exposure_high_ppm_h", "ppm·h", 1, "The same, counted from the last good test.";
        FeedVolume, Totals, "feed_l", "L", 3, "Water into the unit since the beginning.";
        PermeateVolume, Totals, "permeate_l", "L", 3, "Permeate made since the beginning.";
        ConcentrateVolume, Totals, "concentrate_l", "L", 3, "Concentrate to the drain since the beginning.";
        UnsplitVolume, Totals, "feed_unsplit_l", "L", 3, "Feed of which nothing told how it was split.";
        UnmatchedVolume, Totals, "feed_unknown_l", "L", 3, "Permeate or concentrate of which nothing told the feed.";
        ProducingTime, Totals, "producing_h", "h", 2, "Time the unit made water.";
        UnmeasuredTime, Totals, "unmeasured_h", "h", 2, "Time of which no meter told the flow.";
        Runs, Totals, "runs", "", 0, "Runs that ended.";
        PermeateSalt, Totals, "permeate_salt_mg", "mg", 1, "Salt in the permeate since the beginning, as NaCl: what DI stages had to take up.";
        CreepSalt, Totals, "creep_salt_mg", "mg", 1, "Part of it that crept through the membrane while the unit stood.";
        StartsPerDay, Totals, "starts_per_day", "", 1, "Runs a day, over the last days.";
        LitresPerRun, Totals, "litres_per_run_l", "L", 2, "Permeate of a run, the mean over the last days.";
        CreepShare, Totals, "creep_share_pct", "%", 1, "Share of the salt in the permeate that creep brought, over the last days.";
        CostToday, Costs, "today_cost", "currency", 3, "Cost of fillings, water and waste, since midnight.";
        CartridgesToday, Costs, "today_cartridges_cost", "currency", 3, "Part of it for fillings, spread over their lives.";
        WaterToday, Costs, "today_water_cost", "currency", 3, "Part of it for the water in.";
        WasteToday, Costs, "today_waste_cost", "currency", 3, "Part of it for the concentrate to the drain.";
        CostMonth, Costs, "month_cost", "currency", 3, "Cost of fillings, water and waste, since the month began.";
        CartridgesMonth, Costs, "month_cartridges_cost", "currency", 3, "Part of it for fillings, spread over their lives.";
        WaterMonth, Costs, "month_water_cost", "currency", 3, "Part of it for the water in.";
        WasteMonth, Costs, "month_waste_cost", "currency", 3, "Part of it for the concentrate to the drain.";
        CostLife, Costs, "life_cost", "currency", 3, "Cost of fillings, water and waste, since prices were configured.";
        CartridgesLife, Costs, "life_cartridges_cost", "currency", 3, "Part of it for fillings, spread over their lives.";
        WaterLife, Costs, "life_water_cost", "currency", 3, "Part of it for the water in.";
        WasteLife, Costs, "life_waste_cost", "currency", 3, "Part of it for the concentrate to the drain.";
        CostLitre, Costs, "life_cost_per_l", "currency/L", 5, "Cost of a litre of product since prices were configured.";
        CartridgesLitre, Costs, "life_cartridges_cost_per_l", "currency/L", 5, "Part of it for fillings, spread over their lives.";
        WaterLitre, Costs, "life_water_cost_per_l", "currency/L", 5, "Part of it for the water in.";
        WasteLitre, Costs, "life_waste_cost_per_l", "currency/L", 5, "Part of it for the concentrate to the drain.";
        CostLitreLastMonth, Costs, "last_month_cost_per_l", "currency/L", 5, "Cost of a litre of product in the last whole month.";
        CartridgesLitreLastMonth, Costs, "last_month_cartridges_cost_per_l", "currency/L", 5, "Part of it for fillings, spread over their lives.";
        WaterLitreLastMonth, Costs, "last_month_water_cost_per_l", "currency/L", 5, "Part of it for the water in.";
        WasteLitreLastMonth, Costs, "last_month_waste_cost_per_l", "currency/L", 5, "Part of it for the concentrate to the drain.";
    }
}

catalogue! {
    /// A metric of a stage.
    StageMetric {
        Treated, Now, "treated_l", "L", 1, "Water the stage has treated since it was installed: the whole feed before the membrane, permeate behind it.";
        Left, Now, "left_pct", "%", 1, "What is left of the stage, by the limit that binds.";
        LeftVolume, Now, "left_l", "L", 0, "Water the stage can still treat, by its configured life or its load so far.";
        LeftTime, Now, "left_d", "d", 1, "Days left, likely: by age, or by load or volume at the use to be expected.";
        Tds, Now, "tds_mg_l", "mg/L", 1, "TDS behind the stage, in the unit's scale.";
        Age, Now, "age_d", "d", 1, "Days since the stage was installed.";
        LeftLow, Now, "left_low_pct", "%", 1, "The least that may be left of a DI stage, as what is not known of feed and resin is taken at its worst, or of the membrane, by its 95 % band.";
        LeftHigh, Now, "left_high_pct", "%", 1, "The most that may be left of a DI stage, taken at its best, or of the membrane.";
        LeftTimeLow, Now, "left_low_d", "d", 1, "Days left at the least: with what is not known of the stage and of the use to come, a band that should hold 90 %.";
        LeftTimeHigh, Now, "left_high_d", "d", 1, "Days left at the most.";
        LeftVolumeLow, Now, "left_low_l", "L", 0, "The least water a DI stage may still treat.";
        LeftVolumeHigh, Now, "left_high_l", "L", 0, "The most water a DI stage may still treat.";
        CationLoad, Now, "cation_load_meq", "meq", 1, "Positive ions a DI stage has taken up since it was installed.";
        AnionLoad, Now, "anion_load_meq", "meq", 1, "Negative ions, carbon dioxide and silica a DI stage has taken up since it was installed.";
        Capacity, Now, "capacity_meq", "meq", 0, "What a filling of a DI stage takes, as learned at its breakthroughs; of the side that was spent.";
        CapacityLow, Now, "capacity_low_meq", "meq", 0, "The least that the present filling takes: lower end of the 95 % band.";
        CapacityHigh, Now, "capacity_high_meq", "meq", 0, "The most that the present filling takes: upper end of the 95 % band.";
        DisinfectantLoad, Now, "disinfectant_load_g", "g", 2, "Disinfectant that the feed has brought to carbon since it was installed, as Cl2.";
        ContactTime, Now, "contact_time_s", "s", 0, "Contact time of the feed in carbon, its volume over the feed's flow in the last settled run.";
    }
}

impl StageMetric {
    /// Whether it only grows, until the stage is replaced.
    #[must_use]
    pub fn is_sum(self) -> bool {
        matches!(
            self,
            Self::Treated | Self::CationLoad | Self::AnionLoad | Self::DisinfectantLoad
        )
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn names_are_unique_and_fit_for_topics() {
        let mut seen = BTreeSet::new();
        for metric in Metric::ALL {
            let name = metric.description().name;
            assert!(seen.insert(name), "{name} twice");
            assert!(
                name.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_'),
                "{name}"
            );
        }
    }

    #[test]
    fn rounding_keeps_no_negative_zero() {
        let description = Metric::FeedPressure.description();
        assert_eq!(description.round(4.136_85), 4.14);
        assert!(description.round(-0.001).is_sign_positive());
        assert_eq!(description.kept(4.136_854_4), 4.136_85);
    }
}
