"""The pictures of the sample inbox, one module a drop."""
