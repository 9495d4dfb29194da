"""An index by which a week's sent replies are counted: without it every reply that was ever sent was read for them"""

from replacements.store.beside_work import create_index


revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("replies_of_a_week", "replies", ["state", "sent_at", "request_id"])
