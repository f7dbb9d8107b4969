//! Whom TLS trusts: certificate authorities from a file of the owner's or from the system. For the broker
//! and for the servers that take notices.

use std::{
    io,
    path::{Path, PathBuf},
    sync::Arc,
};

use rustls::{
    ClientConfig, ConfigBuilder, RootCertStore,
    client::WantsClientCert,
    pki_types::{CertificateDer, pem, pem::PemObject},
};

/// Why there is nobody to trust, or a file of TLS is of no use.
#[derive(Debug, thiserror::Error)]
pub enum TrustError {
    /// A file that cannot be read.
    #[error(
        "cannot read the {what} {}: {source}; it must be there, and readable for the user that runs permeated",
        path.display()
    )]
    File {
        /// What the file is for.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// A file that can be read but does not hold what it should.
    #[error("the {what} {} {problem}", path.display())]
    Content {
        /// What the file is for.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// What is wrong in it, and what is allowed.
        problem: String,
    },
    /// The system has no certificate authorities.
    #[error(
        "no certificate authority found on this system ({0}): install them (Debian: ca-certificates) or name one in `ca_file`"
    )]
    NoSystemRoots(String),
    /// The TLS library does not accept what it was given.
    #[error("TLS cannot be set up: {0}")]
    Tls(#[from] rustls::Error),
}

/// A client's configuration that lacks only who the client is. Without `ca_file` the system's
/// authorities are trusted.
///
/// # Errors
/// When there are none, or the file does not hold what it should; the text names it.
pub(super) fn client(
    ca_file: Option<&Path>,
) -> Result<ConfigBuilder<ClientConfig, WantsClientCert>, TrustError> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    Ok(ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_root_certificates(roots(ca_file)?))
}

fn roots(ca_file: Option<&Path>) -> Result<RootCertStore, TrustError> {
    let mut roots = RootCertStore::empty();
    if let Some(path) = ca_file {
        for certificate in certificates("CA file", path)? {
            roots
                .add(certificate)
                .map_err(|error| TrustError::Content {
                    what: "CA file",
                    path: path.to_owned(),
                    problem: format!("holds a certificate that cannot be used: {error}"),
                })?;
        }
        return Ok(roots);
    }
    let found = rustls_native_certs::load_native_certs();
    let (added, _) = roots.add_parsable_certificates(found.certs);
    if added == 0 {
        let why = (found.errors.first()).map_or("none installed".to_owned(), ToString::to_string);
        return Err(TrustError::NoSystemRoots(why));
    }
    Ok(roots)
}

/// The certificates of a PEM file, at least one.
///
/// # Errors
/// When the file does not hold them; `what` says what it is for.
pub(super) fn certificates(
    what: &'static str,
    path: &Path,
) -> Result<Vec<CertificateDer<'static>>, TrustError> {
    let chain = CertificateDer::pem_file_iter(path)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| pem_error(what, path, "certificate", error))?;
    if chain.is_empty() {
        let nothing = pem::Error::NoItemsFound;
        return Err(pem_error(what, path, "certificate", nothing));
    }
    Ok(chain)
}

/// What is wrong with a PEM file in which `wanted` should be.
pub(super) fn pem_error(
    what: &'static str,
    path: &Path,
    wanted: &str,
    error: pem::Error,
) -> TrustError {
    let path = path.to_owned();
    match error {
        pem::Error::Io(source) => TrustError::File { what, path, source },
        pem::Error::NoItemsFound => TrustError::Content {
            what,
            path,
            problem: format!("holds no {wanted}: a PEM file with one is needed"),
        },
        other => TrustError::Content {
            what,
            path,
            problem: format!("is not a PEM file with a {wanted}: {other}"),
        },
    }
}
