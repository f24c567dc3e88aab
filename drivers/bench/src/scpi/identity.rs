//! The four fields of `*IDN?` (IEEE 488.2, 10.14).

use crate::scpi::Refused;
use crate::scpi::text;

/// Who an instrument says that it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Names {
    /// Field 1.
    pub maker: String,
    /// Field 2.
    pub model: String,
    /// Field 3; `0` where the instrument does not know it.
    pub serial: String,
    /// Field 4.
    pub firmware: String,
}

impl Names {
    /// Reads the reply. It is arbitrary ASCII (8.7.11), not a list of elements: only its commas count.
    pub fn parse(message: &[u8]) -> Result<Self, Refused> {
        let refused = || Refused {
            expected: "four fields: maker, model, serial, firmware".to_owned(),
            got: text::shortened(message),
            mend: "check that the link leads to an instrument that speaks SCPI".to_owned(),
        };
        let line = str::from_utf8(message)
            .map_err(|_| refused())?
            .trim_end_matches(['\r', '\n']);
        if !line.bytes().all(|byte| (b' '..=b'~').contains(&byte)) {
            return Err(refused());
        }
        let fields: Vec<&str> = line.splitn(4, ',').map(str::trim).collect();
        match fields.as_slice() {
            [maker, model, serial, firmware] if !model.is_empty() => Ok(Self {
                maker: (*maker).to_owned(),
                model: (*model).to_owned(),
                serial: (*serial).to_owned(),
                firmware: (*firmware).to_owned(),
            }),
            _ => Err(refused()),
        }
    }
}
