"""The first tables"""

from alembic import op
import sqlalchemy as sa


revision = '0001'
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('accounts',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('name', sa.Text(), nullable=False),
    sa.Column('full_name', sa.Text(), nullable=False),
    sa.Column('email', sa.Text(), nullable=False),
    sa.Column('password_hash', sa.Text(), nullable=False),
    sa.Column('roles', sa.JSON(), nullable=False),
    sa.Column('active', sa.Boolean(), nullable=False),
    sa.Column('failures', sa.Integer(), nullable=False),
    sa.Column('locked_until', sa.DateTime(), nullable=True),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('name')
    )
    op.create_table('conditions',
    sa.Column('name', sa.Text(), nullable=False),
    sa.Column('ok', sa.Boolean(), nullable=False),
    sa.Column('text', sa.Text(), nullable=False),
    sa.Column('at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('name')
    )
    op.create_table('elections',
    sa.Column('id', sa.Text(), nullable=False),
    sa.Column('name', sa.Text(), nullable=False),
    sa.Column('held_on', sa.Date(), nullable=False),
    sa.Column('created_at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('id')
    )
    op.create_table('ledger',
    sa.Column('seq', sa.Integer(), autoincrement=False, nullable=False),
    sa.Column('at', sa.Text(), nullable=False),
    sa.Column('event', sa.Text(), nullable=False),
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('ballot_number', sa.Text(), nullable=True),
    sa.Column('voter_id', sa.Text(), nullable=True),
    sa.Column('by', sa.Text(), nullable=False),
    sa.Column('details', sa.Text(), nullable=False),
    sa.Column('prev_hash', sa.Text(), nullable=False),
    sa.Column('hash', sa.Text(), nullable=False),
    sa.PrimaryKeyConstraint('seq'),
    sa.UniqueConstraint('hash'),
    sa.UniqueConstraint('prev_hash')
    )
    with op.batch_alter_table('ledger', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_ledger_ballot_number'), ['ballot_number'], unique=False)
        batch_op.create_index(batch_op.f('ix_ledger_voter_id'), ['voter_id'], unique=False)

    op.create_table('looks',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('account', sa.Text(), nullable=False),
    sa.Column('what', sa.Text(), nullable=False),
    sa.Column('about', sa.Text(), nullable=False),
    sa.Column('why', sa.Text(), nullable=False),
    sa.Column('at', sa.DateTime(), nullable=False),
    sa.PrimaryKeyConstraint('id')
    )
    op.create_table('messages',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('fingerprint', sa.Text(), nullable=False),
    sa.Column('message_id', sa.Text(), nullable=False),
    sa.Column('sender', sa.Text(), nullable=False),
    sa.Column('sender_name', sa.Text(), nullable=False),
    sa.Column('subject', sa.Text(), nullable=False),
    sa.Column('arrived_at', sa.DateTime(), nullable=False),
    sa.Column('stored_at', sa.DateTime(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('judgement', sa.JSON(), nullable=True),
    sa.Column('error', sa.Text(), nullable=True),
    sa.Column('attempts', sa.Integer(), nullable=False),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('fingerprint')
    )
    with op.batch_alter_table('messages', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_messages_message_id'), ['message_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_messages_sender'), ['sender'], unique=False)
        batch_op.create_index(batch_op.f('ix_messages_state'), ['state'], unique=False)

    op.create_table('name_counts',
    sa.Column('part', sa.Text(), nullable=False),
    sa.Column('name', sa.Text(), nullable=False),
    sa.Column('voters', sa.Integer(), nullable=False),
    sa.PrimaryKeyConstraint('part', 'name')
    )
    op.create_table('voters',
    sa.Column('voter_id', sa.Text(), nullable=False),
    sa.Column('last_name', sa.Text(), nullable=False),
    sa.Column('first_name', sa.Text(), nullable=False),
    sa.Column('middle_name', sa.Text(), nullable=False),
    sa.Column('suffix', sa.Text(), nullable=False),
    sa.Column('birth_date', sa.Text(), nullable=False),
    sa.Column('street', sa.Text(), nullable=False),
    sa.Column('unit', sa.Text(), nullable=False),
    sa.Column('city', sa.Text(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('zip', sa.Text(), nullable=False),
    sa.Column('mail_street', sa.Text(), nullable=False),
    sa.Column('mail_unit', sa.Text(), nullable=False),
    sa.Column('mail_city', sa.Text(), nullable=False),
    sa.Column('mail_state', sa.Text(), nullable=False),
    sa.Column('mail_zip', sa.Text(), nullable=False),
    sa.Column('mail_country', sa.Text(), nullable=False),
    sa.Column('precinct', sa.Text(), nullable=False),
    sa.Column('style', sa.Text(), nullable=False),
    sa.Column('language', sa.Text(), nullable=False),
    sa.Column('email', sa.Text(), nullable=False),
    sa.Column('phone', sa.Text(), nullable=False),
    sa.Column('former_last_name', sa.Text(), nullable=False),
    sa.Column('status', sa.Text(), nullable=False),
    sa.Column('id_required', sa.Boolean(), nullable=False),
    sa.Column('overseas', sa.Boolean(), nullable=False),
    sa.Column('protected', sa.Boolean(), nullable=False),
    sa.PrimaryKeyConstraint('voter_id')
    )
    op.create_table('adopted_rules',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('sha256', sa.Text(), nullable=False),
    sa.Column('source', sa.Text(), nullable=False),
    sa.Column('adopted_by', sa.Text(), nullable=True),
    sa.Column('adopted_at', sa.DateTime(), nullable=True),
    sa.Column('loaded_at', sa.DateTime(), nullable=False),
    sa.ForeignKeyConstraint(['election_id'], ['elections.id'], ),
    sa.PrimaryKeyConstraint('id')
    )
    op.create_table('ballots',
    sa.Column('number', sa.Text(), nullable=False),
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('voter_id', sa.String(), nullable=False),
    sa.Column('style', sa.Text(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('mailed_on', sa.Date(), nullable=True),
    sa.Column('returned_on', sa.Date(), nullable=True),
    sa.Column('replaces', sa.Text(), nullable=True),
    sa.Column('void_reason', sa.Text(), nullable=True),
    sa.Column('imported_state', sa.Text(), nullable=True),
    sa.CheckConstraint("state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged', 'suspended', 'voided')", name='ballot_state_known'),
    sa.ForeignKeyConstraint(['election_id'], ['elections.id'], ),
    sa.ForeignKeyConstraint(['replaces'], ['ballots.number'], ),
    sa.PrimaryKeyConstraint('number')
    )
    with op.batch_alter_table('ballots', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_ballots_voter_id'), ['voter_id'], unique=False)
        batch_op.create_index('one_accepted_ballot', ['election_id', 'voter_id'], unique=True, sqlite_where=sa.text("state = 'accepted'"), postgresql_where=sa.text("state = 'accepted'"))
        batch_op.create_index('one_live_ballot', ['election_id', 'voter_id'], unique=True, sqlite_where=sa.text("state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged')"), postgresql_where=sa.text("state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged')"))
        batch_op.create_index('one_replacement_standing', ['replaces'], unique=True, sqlite_where=sa.text("replaces IS NOT NULL AND state <> 'voided'"), postgresql_where=sa.text("replaces IS NOT NULL AND state <> 'voided'"))

    op.create_table('mailings',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('goes_on', sa.Date(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('closed_at', sa.DateTime(), nullable=True),
    sa.Column('closed_by', sa.Text(), nullable=True),
    sa.Column('mailed_at', sa.DateTime(), nullable=True),
    sa.Column('manifest', sa.JSON(), nullable=True),
    sa.ForeignKeyConstraint(['election_id'], ['elections.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('election_id', 'goes_on', name='one_mailing_a_day')
    )
    op.create_table('raw_mail',
    sa.Column('message_id', sa.Integer(), nullable=False),
    sa.Column('raw', sa.LargeBinary(), nullable=False),
    sa.ForeignKeyConstraint(['message_id'], ['messages.id'], ),
    sa.PrimaryKeyConstraint('message_id')
    )
    op.create_table('sightings',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('source', sa.Text(), nullable=False),
    sa.Column('validity', sa.Text(), nullable=False),
    sa.Column('uid', sa.Text(), nullable=False),
    sa.Column('message_id', sa.Integer(), nullable=False),
    sa.ForeignKeyConstraint(['message_id'], ['messages.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('source', 'validity', 'uid', name='seen_once')
    )
    op.create_table('sign_ins',
    sa.Column('token', sa.Text(), nullable=False),
    sa.Column('account_id', sa.Integer(), nullable=False),
    sa.Column('started_at', sa.DateTime(), nullable=False),
    sa.Column('seen_at', sa.DateTime(), nullable=False),
    sa.ForeignKeyConstraint(['account_id'], ['accounts.id'], ),
    sa.PrimaryKeyConstraint('token')
    )
    op.create_table('stock',
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('style', sa.Text(), nullable=False),
    sa.Column('on_hand', sa.Integer(), nullable=False),
    sa.ForeignKeyConstraint(['election_id'], ['elections.id'], ),
    sa.PrimaryKeyConstraint('election_id', 'style')
    )
    op.create_table('voter_keys',
    sa.Column('key', sa.Text(), nullable=False),
    sa.Column('voter_id', sa.Text(), nullable=False),
    sa.ForeignKeyConstraint(['voter_id'], ['voters.voter_id'], ),
    sa.PrimaryKeyConstraint('key', 'voter_id')
    )
    with op.batch_alter_table('voter_keys', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_voter_keys_voter_id'), ['voter_id'], unique=False)

    op.create_table('requests',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('election_id', sa.Text(), nullable=False),
    sa.Column('message_id', sa.Integer(), nullable=False),
    sa.Column('place', sa.Integer(), nullable=False),
    sa.Column('person', sa.Text(), nullable=False),
    sa.Column('standing', sa.Text(), nullable=True),
    sa.Column('voter_id', sa.Text(), nullable=True),
    sa.Column('kinds', sa.JSON(), nullable=False),
    sa.Column('cause', sa.Text(), nullable=True),
    sa.Column('proposal', sa.Text(), nullable=False),
    sa.Column('reasons', sa.JSON(), nullable=False),
    sa.Column('two_people', sa.Boolean(), nullable=False),
    sa.Column('judged', sa.JSON(), nullable=False),
    sa.Column('reply_draft', sa.JSON(), nullable=True),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('received_at', sa.DateTime(), nullable=False),
    sa.Column('decision', sa.Text(), nullable=True),
    sa.Column('decision_note', sa.Text(), nullable=True),
    sa.Column('first_by', sa.Text(), nullable=True),
    sa.Column('decided_by', sa.Text(), nullable=True),
    sa.Column('decided_at', sa.DateTime(), nullable=True),
    sa.Column('voided_ballot', sa.Text(), nullable=True),
    sa.Column('issued_ballot', sa.Text(), nullable=True),
    sa.Column('continues', sa.Integer(), nullable=True),
    sa.ForeignKeyConstraint(['continues'], ['requests.id'], ),
    sa.ForeignKeyConstraint(['election_id'], ['elections.id'], ),
    sa.ForeignKeyConstraint(['issued_ballot'], ['ballots.number'], ),
    sa.ForeignKeyConstraint(['message_id'], ['messages.id'], ),
    sa.ForeignKeyConstraint(['voided_ballot'], ['ballots.number'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('message_id', 'place', name='one_request_per_person')
    )
    with op.batch_alter_table('requests', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_requests_message_id'), ['message_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_requests_received_at'), ['received_at'], unique=False)
        batch_op.create_index(batch_op.f('ix_requests_state'), ['state'], unique=False)
        batch_op.create_index(batch_op.f('ix_requests_voter_id'), ['voter_id'], unique=False)
        batch_op.create_index('one_void_per_ballot', ['voided_ballot'], unique=True, sqlite_where=sa.text("voided_ballot IS NOT NULL AND state = 'done'"), postgresql_where=sa.text("voided_ballot IS NOT NULL AND state = 'done'"))

    op.create_table('signatures',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('mailing_id', sa.Integer(), nullable=False),
    sa.Column('account', sa.Text(), nullable=False),
    sa.Column('counted', sa.Integer(), nullable=False),
    sa.Column('at', sa.DateTime(), nullable=False),
    sa.ForeignKeyConstraint(['mailing_id'], ['mailings.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('mailing_id', 'account', name='two_different_people')
    )
    op.create_table('packets',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('mailing_id', sa.Integer(), nullable=False),
    sa.Column('request_id', sa.Integer(), nullable=True),
    sa.Column('voter_id', sa.Text(), nullable=False),
    sa.Column('ballot_number', sa.Text(), nullable=True),
    sa.Column('contents', sa.JSON(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('queued_at', sa.DateTime(), nullable=False),
    sa.Column('label', sa.JSON(), nullable=True),
    sa.Column('fault', sa.Text(), nullable=True),
    sa.Column('printed', sa.Integer(), nullable=False),
    sa.ForeignKeyConstraint(['ballot_number'], ['ballots.number'], ),
    sa.ForeignKeyConstraint(['mailing_id'], ['mailings.id'], ),
    sa.ForeignKeyConstraint(['request_id'], ['requests.id'], ),
    sa.PrimaryKeyConstraint('id')
    )
    with op.batch_alter_table('packets', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_packets_mailing_id'), ['mailing_id'], unique=False)
        batch_op.create_index('one_packet_per_ballot', ['ballot_number'], unique=True, sqlite_where=sa.text("ballot_number IS NOT NULL AND state <> 'pulled'"), postgresql_where=sa.text("ballot_number IS NOT NULL AND state <> 'pulled'"))

    op.create_table('replies',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('request_id', sa.Integer(), nullable=True),
    sa.Column('message_id', sa.Text(), nullable=False),
    sa.Column('template', sa.Text(), nullable=False),
    sa.Column('language', sa.Text(), nullable=False),
    sa.Column('to', sa.Text(), nullable=False),
    sa.Column('subject', sa.Text(), nullable=False),
    sa.Column('text', sa.Text(), nullable=False),
    sa.Column('html', sa.Text(), nullable=False),
    sa.Column('in_reply_to', sa.Text(), nullable=False),
    sa.Column('references', sa.Text(), nullable=False),
    sa.Column('state', sa.Text(), nullable=False),
    sa.Column('attempts', sa.Integer(), nullable=False),
    sa.Column('queued_at', sa.DateTime(), nullable=False),
    sa.Column('next_try_at', sa.DateTime(), nullable=False),
    sa.Column('sent_at', sa.DateTime(), nullable=True),
    sa.Column('error', sa.Text(), nullable=True),
    sa.ForeignKeyConstraint(['request_id'], ['requests.id'], ),
    sa.PrimaryKeyConstraint('id'),
    sa.UniqueConstraint('message_id')
    )
    with op.batch_alter_table('replies', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_replies_request_id'), ['request_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_replies_state'), ['state'], unique=False)

    if op.get_bind().dialect.name == "postgresql":
        for statement in POSTGRESQL:
            op.execute(statement)
    else:
        for statement in SQLITE:
            op.execute(statement)


# What the database itself refuses, whoever asks: changing or removing what was recorded, a ledger entry out of order,
# a ballot that vanishes or changes its number, voter or election.
APPEND_ONLY = ("ledger", "looks", "signatures", "raw_mail")

SQLITE = [
    *(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table}: entries are never changed or removed'); END"
        for table in APPEND_ONLY
        for verb in ("UPDATE", "DELETE")
        if not (table == "raw_mail" and verb == "DELETE")  # the retention period ends; then raw mail is purged
    ),
    "CREATE TRIGGER ballots_no_delete BEFORE DELETE ON ballots "
    "BEGIN SELECT RAISE(ABORT, 'ballots: a number is never removed'); END",
    "CREATE TRIGGER ballots_identity BEFORE UPDATE OF number, voter_id, election_id, replaces ON ballots "
    "WHEN NEW.number IS NOT OLD.number OR NEW.voter_id IS NOT OLD.voter_id "
    "OR NEW.election_id IS NOT OLD.election_id OR (OLD.replaces IS NOT NULL AND NEW.replaces IS NOT OLD.replaces) "
    "BEGIN SELECT RAISE(ABORT, 'ballots: number, voter and election of a ballot never change'); END",
    "CREATE TRIGGER ledger_in_order BEFORE INSERT ON ledger "
    "WHEN NEW.seq <> COALESCE((SELECT MAX(seq) FROM ledger), 0) + 1 "
    "OR NEW.prev_hash <> COALESCE((SELECT hash FROM ledger ORDER BY seq DESC LIMIT 1), printf('%064d', 0)) "
    "BEGIN SELECT RAISE(ABORT, 'ledger: an entry must follow the last one'); END",
]

POSTGRESQL = [
    "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION '%: entries are never changed or removed', TG_TABLE_NAME; END $$",
    *(
        f"CREATE TRIGGER {table}_no_change BEFORE {'UPDATE' if table == 'raw_mail' else 'UPDATE OR DELETE'} ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        for table in APPEND_ONLY
    ),
    *(
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        for table in ("ledger", "looks", "signatures", "ballots")
    ),
    "CREATE TRIGGER ballots_no_delete BEFORE DELETE ON ballots FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "CREATE FUNCTION keep_ballot_identity() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    "IF NEW.number <> OLD.number OR NEW.voter_id <> OLD.voter_id OR NEW.election_id <> OLD.election_id "
    "OR (OLD.replaces IS NOT NULL AND NEW.replaces IS DISTINCT FROM OLD.replaces) THEN "
    "RAISE EXCEPTION 'ballots: number, voter and election of a ballot never change'; END IF; RETURN NEW; END $$",
    "CREATE TRIGGER ballots_identity BEFORE UPDATE ON ballots FOR EACH ROW EXECUTE FUNCTION keep_ballot_identity()",
    "CREATE FUNCTION ledger_in_order() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    "IF NEW.seq <> COALESCE((SELECT MAX(seq) FROM ledger), 0) + 1 "
    "OR NEW.prev_hash <> COALESCE((SELECT hash FROM ledger ORDER BY seq DESC LIMIT 1), repeat('0', 64)) THEN "
    "RAISE EXCEPTION 'ledger: an entry must follow the last one'; END IF; RETURN NEW; END $$",
    "CREATE TRIGGER ledger_in_order BEFORE INSERT ON ledger FOR EACH ROW EXECUTE FUNCTION ledger_in_order()",
]
