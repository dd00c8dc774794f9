"""Files in and out: pictures, sheets, results. Validated here, plain records further in."""
