"""Models of the stores, by subject."""

from inventory.models.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.parts import Bin, Lot, Part, PartKind, Supplier, SupplierTerms
from inventory.models.stock import ReorderAdvice, Reservation, StockLevel, StockMove
