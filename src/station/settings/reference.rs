//! `config/REFERENCE.md`, made from the declarations.

use crate::config::{LANE_KEYS, markdown_table};
use crate::rules::{QUANTITIES, settings as age_groups};

use crate::station::settings::{STATION_KEYS, STATION_TABLES};

/// The whole reference of the settings files.
pub fn text() -> String {
    let tables: String = STATION_TABLES
        .iter()
        .map(|(name, what, keys)| {
            format!(
                "### Table `[{name}]`\n\n{what}\n\n{}\n",
                markdown_table(keys)
            )
        })
        .collect();
    format!(
        "# Settings\n\n\
         Made by `kickplate config reference`; edit the declarations, not this file.\n\n\
         The files are TOML. An unknown key, a value out of range or a contradiction is\n\
         refused with the file, the line and what would be right; nothing is applied by\n\
         half. `kickplate config check` says whether the files are good.\n\n\
         The station file and the age groups file may say their format, `format = 1`; left\n\
         out it is 1. Files of earlier formats are brought up step by step; the comments\n\
         in them stay.\n\n\
         ## Lane file (`--lane`, `config/lane-*.toml`)\n\n\
         One fixed camera and the line the skaters follow.\n\n{}\n\
         ## Station file (`config/station.toml`)\n\n\
         Every key may be left out.\n\n{}\n{tables}\
         ## Age groups file (`config/age-groups.toml`)\n\n{}\n\
         ## Quantities of a pass\n\n{}",
        markdown_table(&LANE_KEYS),
        markdown_table(&STATION_KEYS),
        age_groups::reference(),
        quantities()
    )
}

fn quantities() -> String {
    let mut out = String::from(
        "Reported of every pass, in the sessions file and `session.json`; never flagged,\n\
         so that there is nothing to set. How right they are: `docs/pass-report.md`.\n\n\
         | key | called | judged from | what it is | source |\n|---|---|---|---|---|\n",
    );
    for quantity in QUANTITIES {
        let views: Vec<&str> = quantity.views.iter().map(|v| v.name()).collect();
        out += &format!(
            "| `{}` | {} | {} | {} | {} |\n",
            quantity.id,
            quantity.short,
            views.join(", "),
            quantity.long,
            quantity.source
        );
    }
    out
}
