"""The pages people see: the customer's sheet, the shop's board, the fitter's card."""
