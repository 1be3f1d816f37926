"""The printed sheets: first a plain report value; PDF, page and table only draw it."""
