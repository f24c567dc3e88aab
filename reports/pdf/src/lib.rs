//! The PDF report, typeset by typst
