//! Links, SCPI messages, and driver files turned into bytes
