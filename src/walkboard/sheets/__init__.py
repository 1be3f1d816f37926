"""The printed sheets: a plain report value first; PDF, page and table only draw it."""
