//! JUnit, CSV and plain documents made from a record
