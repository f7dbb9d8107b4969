//! What each command's help shows at its end: examples, and the exit status where it means more than
//! done or not.

macro_rules! all {
    ($look:literal) => {
        concat!(
            $look,
            "Start with:  permeated check permeated.toml && permeated run --config permeated.toml\n\
    And daily:   permeated status\n\n\
    Each command's --help has examples; `permeated manual | man -l -` shows all of it as one page.\n\n\
    permeated reads and reports. It closes no valve, and is neither flood protection nor proof that \
    water is fit to drink."
        )
    };
}

#[cfg(feature = "demo-broker")]
pub(super) const ALL: &str = all!("Look around: permeated demo\n");
/// Packages leave the demo out.
#[cfg(not(feature = "demo-broker"))]
pub(super) const ALL: &str = all!("");

pub(super) const CHECK: &str = "Examples:\n\
    \x20 permeated check permeated.toml\n\
    \x20 permeated check --strict permeated.toml && systemctl restart permeated\n\n\
    It connects to nothing. Exit status: 0 right, 1 something is suspicious (only with --strict), \
    2 problems.";

pub(super) const COMPLETIONS: &str = "Examples:\n\
    \x20 permeated completions bash > /etc/bash_completion.d/permeated\n\
    \x20 permeated completions zsh > /usr/local/share/zsh/site-functions/_permeated\n\
    \x20 permeated completions fish > ~/.config/fish/completions/permeated.fish\n\
    \x20 source <(permeated completions bash)        # for this shell only";

#[cfg(feature = "demo-broker")]
pub(super) const DEMO: &str = "Examples:\n\
    \x20 permeated demo\n\
    \x20 permeated demo --port 1884                 # then: mosquitto_sub -p 1884 -v -t 'permeated/#'";

pub(super) const EXPECT: &str = "Examples:\n\
    \x20 permeated expect --pressure \"80 psi\"\n\
    \x20 permeated expect --temperature \"6 degC\" --tds \"400 mg/L\"\n\n\
    Exit status: 0 answered, 1 there is no answer, 2 wrong arguments or configuration.";

pub(super) const MANUAL: &str = "Examples:\n\
    \x20 permeated manual | man -l -\n\
    \x20 permeated manual > /usr/local/share/man/man1/permeated.1";

pub(super) const NOTIFY: &str = "Examples:\n\
    \x20 permeated notify --test\n\
    \x20 permeated notify --test --to phone\n\n\
    Exit status: 0 every target took it, 1 one did not, 2 wrong arguments or configuration.";

pub(super) const RUN: &str = "Examples:\n\
    \x20 permeated run --config permeated.toml\n\
    \x20 permeated run --config permeated.toml --log debug\n\n\
    It ends within two seconds of SIGTERM or SIGINT. Exit status: 0 told to stop, 1 it failed, \
    2 the configuration has problems.";

pub(super) const STATUS: &str = "Examples:\n\
    \x20 permeated status\n\
    \x20 permeated status --unit kitchen\n\
    \x20 permeated status --json | jq '.units[].alerts[].title'\n\
    \x20 permeated status > /dev/null || echo \"look at the unit\"\n\n\
    It asks the broker and changes nothing; where the broker is away, it reads the store (as the user that \
    the service runs as). It takes 5 s at most.\n\n\
    Exit status: 0 the service runs and no alert is active, 1 nothing could be found out, 2 wrong arguments \
    or configuration, 3 a notice or warning is active, 4 something critical is, 5 the service is away or \
    cannot be asked; the highest that holds.";
