import django.core.validators
import django.db.models.deletion
import shopdesk.fields
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='RequestCount',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=64, unique=True)),
                ('window_start', models.DateTimeField(db_index=True)),
                ('count', models.PositiveIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name='SentForm',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key_hash', models.CharField(max_length=64, unique=True)),
                ('content_hash', models.CharField(max_length=64)),
                ('sent_at', models.DateTimeField(db_index=True)),
                ('response', models.BinaryField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name='Series',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=20, unique=True)),
                ('kind', models.CharField(blank=True, default='', max_length=8, verbose_name='what it numbers')),
                ('last', models.PositiveIntegerField(default=0)),
                ('last_on', models.DateField(null=True)),
            ],
            options={
                'verbose_name_plural': 'series',
            },
        ),
        migrations.CreateModel(
            name='VerifiedBackup',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('file', models.CharField(max_length=500)),
                ('taken_at', models.DateTimeField()),
                ('verified_at', models.DateTimeField()),
                ('rows', models.PositiveBigIntegerField()),
                ('size', models.PositiveBigIntegerField(verbose_name='size in bytes')),
            ],
            options={
                'ordering': ['taken_at'],
                'get_latest_by': 'taken_at',
            },
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('username', models.CharField(error_messages={'unique': 'This sign-in name is already taken.'}, max_length=40, unique=True, validators=[django.core.validators.RegexValidator('^[a-z0-9](?:[a-z0-9._-]*[a-z0-9])?\\Z', 'Use lower-case letters and digits, with dots or dashes between them.')], verbose_name='sign-in name')),
                ('name', models.CharField(max_length=80)),
                ('role', models.CharField(choices=[('counter', 'Counter'), ('bench', 'Bench'), ('owner', 'Owner')], default='counter', max_length=7)),
                ('is_active', models.BooleanField(default=True, verbose_name='may sign in')),
                ('passphrase_until', models.DateTimeField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('totp_secret', models.BinaryField(null=True, verbose_name='secret of the second factor')),
                ('totp_confirmed_at', models.DateTimeField(editable=False, null=True, verbose_name='second factor confirmed')),
                ('totp_step', models.BigIntegerField(default=0, editable=False)),
            ],
            options={
                'verbose_name': 'staff member',
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('role__in', ['counter', 'bench', 'owner'])), name='staff_role_is_known')],
            },
        ),
        migrations.CreateModel(
            name='Email',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('to', models.EmailField(max_length=254)),
                ('subject', models.CharField(max_length=200)),
                ('text', models.TextField(max_length=20000)),
                ('about', models.CharField(blank=True, max_length=200)),
                ('message_id', models.CharField(max_length=200, unique=True)),
                ('written_at', models.DateTimeField()),
                ('next_try_at', models.DateTimeField(null=True)),
                ('attempt_count', models.PositiveSmallIntegerField(default=0)),
                ('last_error', models.CharField(blank=True, max_length=300)),
                ('sent_at', models.DateTimeField(null=True)),
                ('discarded_at', models.DateTimeField(null=True)),
                ('written_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='Attachment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('media_type', models.CharField(max_length=80)),
                ('file', models.BinaryField()),
                ('email', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='attachments', to='shopdesk.email')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='MarkupTier',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('starts_at', shopdesk.fields.MoneyField(verbose_name='parts that cost at least')),
                ('percent', shopdesk.fields.FixedDecimalField(verbose_name='markup in percent')),
            ],
            options={
                'ordering': ['starts_at'],
                'constraints': [models.UniqueConstraint(fields=('starts_at',), name='markup_tier_once'), models.CheckConstraint(condition=models.Q(('percent__gte', 0), ('starts_at__gt', 0)), name='markup_tier_makes_sense')],
            },
        ),
        migrations.CreateModel(
            name='RecoveryCode',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code_hash', models.CharField(max_length=64)),
                ('used_at', models.DateTimeField(null=True)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='recovery_codes', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='Session',
            fields=[
                ('session_data', models.TextField(verbose_name='session data')),
                ('expire_date', models.DateTimeField(db_index=True, verbose_name='expire date')),
                ('session_key', models.CharField(max_length=64, primary_key=True, serialize=False)),
                ('user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='sessions', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'session',
                'verbose_name_plural': 'sessions',
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Shop',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(default='My repair shop', help_text='As required on invoices.', max_length=80, verbose_name='Name')),
                ('address', models.TextField(blank=True, max_length=300, verbose_name='Address')),
                ('country', models.CharField(default='GB', help_text='Phone numbers without a country code are numbers of this country.', max_length=2, verbose_name='Country')),
                ('phone', models.CharField(blank=True, help_text='Including area code.', max_length=32, verbose_name='Phone')),
                ('email', models.EmailField(blank=True, help_text='Emails to customers are sent from this address.', max_length=254, verbose_name='Email')),
                ('other_contact', models.CharField(blank=True, help_text='For example: a web page with a contact form.', max_length=120, verbose_name='Other contact')),
                ('logo', models.BinaryField(null=True, verbose_name='Logo')),
                ('letterhead', models.TextField(blank=True, help_text='For example: register entry, bank account, opening hours.', max_length=300, verbose_name='Lines under the name')),
                ('paper', models.CharField(choices=[('A4', 'A4'), ('Letter', 'US Letter')], default='A4', help_text='Paper size in the printer.', max_length=6, verbose_name='Paper size')),
                ('paper_language', models.CharField(default='en', help_text='Language of the fixed texts. Your own texts are not translated.', max_length=5, verbose_name='Document language')),
                ('currency', models.CharField(default='EUR', help_text='ISO 4217 code.', max_length=3, verbose_name='Currency')),
                ('locale', models.CharField(default='en_GB', help_text='Language and country. For example: en_GB, de_DE, fr_CH.', max_length=12, verbose_name='Number format')),
                ('cash_step', shopdesk.fields.MoneyField(default=Decimal('0'), help_text='The smallest coin in use, for example 0.05. 0: no rounding.', verbose_name='Cash rounding')),
                ('tax_id', models.CharField(blank=True, help_text='As required on invoices.', max_length=40, verbose_name='Tax number')),
                ('tax_kind', models.CharField(choices=[('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], default='standard', help_text='Default for new lines. Customers and lines may differ.', max_length=8, verbose_name='Usual tax')),
                ('prices_include_tax', models.BooleanField(default=False, help_text='If ticked, prices are entered including tax.', verbose_name='Prices include tax')),
                ('hourly_rate', shopdesk.fields.MoneyField(default=Decimal('68'), help_text='Charged to the customer.', verbose_name='Hourly rate')),
                ('hourly_cost', shopdesk.fields.MoneyField(default=Decimal('34'), help_text='Cost of one hour at the bench.', verbose_name='Hourly cost to the shop')),
                ('minimum_minutes', shopdesk.fields.SmallNumberField(default=15, help_text='A shorter repair is charged as this many minutes.', verbose_name='Minimum minutes charged')),
                ('rounding_step', shopdesk.fields.MoneyField(default=Decimal('0.50'), help_text='Labour is rounded to a multiple of this. 0: no rounding.', verbose_name='Labour rounding')),
                ('target_margin', shopdesk.fields.FixedDecimalField(default=Decimal('15'), help_text='Share of a price left after costs and expected comebacks.', verbose_name='Target margin (%)')),
                ('diagnosis_fee', shopdesk.fields.MoneyField(default=Decimal('25'), help_text='Suggested when booking in. It can be waived.', verbose_name='Diagnosis fee')),
                ('return_shipping_price', shopdesk.fields.MoneyField(default=Decimal('9'), help_text='Packing and shipping one device.', verbose_name='Return shipping price')),
                ('deducts_diagnosis_fee', models.BooleanField(default=False, help_text='The fee is deducted if the customer accepts the repair.', verbose_name='Deduct the diagnosis fee from a paid repair')),
                ('markup', shopdesk.fields.FixedDecimalField(default=Decimal('60'), help_text='Applied to the unit cost of the delivery, below the first tier.', verbose_name='Markup on parts (%)')),
                ('quote_days', shopdesk.fields.SmallNumberField(default=30, help_text='After that it expires.', verbose_name='Quote validity (days)')),
                ('link_days', shopdesk.fields.SmallNumberField(default=90, help_text='Customers read and answer the quote and see the repair status.', verbose_name='Customer link validity (days)')),
                ('counter_sees_costs', models.BooleanField(default=False, help_text='If not ticked, the counter receives deliveries without their cost.', verbose_name='Counter sees costs')),
                ('bench_sees_costs', models.BooleanField(default=True, help_text='If not ticked, fixes are compared by price and risk alone.', verbose_name='Bench sees costs')),
                ('owners_need_second_factor', models.BooleanField(default=True, help_text='A code from an app, besides the password. An owner may postpone setting it up for 7 days.', verbose_name='Owners need a second factor')),
                ('uses_repair_form', models.BooleanField(default=False, help_text='Directive (EU) 2024/1799: once issued, its conditions are binding for at least 30 days. Check local regulations.', verbose_name='Offer the European Repair Information Form')),
                ('emails_customer', models.BooleanField(default=True, help_text='What was agreed, with the quote attached. Often required for distance contracts (in the EU: Directive 2011/83/EU, Art. 8). Check local regulations.', verbose_name='Confirm a customer’s answer by email')),
                ('emails_shop', models.BooleanField(default=True, help_text='Sent to the shop’s address when a customer accepts or declines by link or on the counter’s screen.', verbose_name='Notify us by email when a customer answers')),
                ('invoice_series', models.CharField(default='INV{yy}', help_text='Letters, digits and {yy} for the year.', max_length=8, verbose_name='Invoice number prefix')),
                ('credit_series', models.CharField(default='CN{yy}', help_text='Must differ from the invoice prefix.', max_length=8, verbose_name='Credit note number prefix')),
                ('payment_term_days', shopdesk.fields.SmallNumberField(default=14, help_text='0: due immediately.', verbose_name='Payment term (days)')),
                ('reminder_interval_days', shopdesk.fields.SmallNumberField(default=10, help_text='While an invoice is unpaid.', verbose_name='Days between reminders')),
                ('warranty_days_lasting', shopdesk.fields.SmallNumberField(default=180, help_text='Used if a fix has no days of its own.', verbose_name='Warranty for a lasting fix (days)')),
                ('warranty_days_stopgap', shopdesk.fields.SmallNumberField(default=30, help_text='Usually fewer than for a lasting fix.', verbose_name='Warranty for a stopgap (days)')),
                ('warranty_days_minimum', shopdesk.fields.SmallNumberField(default=30, help_text='The earlier warranty continues, but for at least this many days.', verbose_name='Minimum warranty after a warranty repair (days)')),
                ('comeback_period_days', shopdesk.fields.SmallNumberField(default=90, help_text='Later returns are not counted as comebacks.', verbose_name='Comeback period (days)')),
                ('max_comeback_risk', shopdesk.fields.FixedDecimalField(default=Decimal('0.1'), help_text='Highest comeback risk that the shop accepts for a fix.', verbose_name='Comeback limit')),
                ('verdict_confidence', shopdesk.fields.FixedDecimalField(default=Decimal('0.9'), help_text='Higher: fewer false alarms, but a verdict needs more repairs.', verbose_name='Confidence required')),
                ('final_test_risk', shopdesk.fields.FixedDecimalField(default=Decimal('0.05'), help_text='Lower: longer final tests.', verbose_name='Accepted chance that a faulty device passes the final test')),
                ('accounting_years', shopdesk.fields.SmallNumberField(default=10, help_text='Counted from the end of the calendar year. Check your local rules.', verbose_name='Keep invoices of erased customers (years)')),
                ('code_days', shopdesk.fields.SmallNumberField(default=30, help_text='From the day the job is ready. At handover they are always deleted.', verbose_name='Delete access codes after (days)')),
                ('email_months', shopdesk.fields.SmallNumberField(blank=True, default=None, help_text='Blank: emails are kept. Those still waiting are never deleted.', null=True, verbose_name='Delete emails after (months)')),
                ('inactive_years', shopdesk.fields.SmallNumberField(blank=True, default=None, help_text='Without a visit. Blank: customers are kept.', null=True, verbose_name='Erase customers after (years)')),
                ('slip_text', models.TextField(blank=True, default='Please bring this slip when you collect the device. We access your data only if you allowed it and only as far as the repair needs it. Data can be lost during a repair: keep a copy.', help_text='Printed at the bottom of the claim slip.', max_length=2000, verbose_name='On the claim slip')),
                ('quote_text', models.TextField(blank=True, default='', help_text='Printed at the bottom of every quote. For example: how to pay a deposit.', max_length=2000, verbose_name='On quotes')),
                ('acceptance_text', models.TextField(blank=True, default='', help_text='In the email that confirms an acceptance. For example: a right of withdrawal. Check local regulations.', max_length=2000, verbose_name='In confirmations of acceptance')),
                ('invoice_text', models.TextField(blank=True, default='', help_text='Printed at the bottom of every invoice. For example: your bank account.', max_length=2000, verbose_name='On invoices')),
                ('warranty_text', models.TextField(blank=True, default='This warranty covers the repaired fault. It ends if the device was opened by others, dropped or exposed to liquid. Your legal rights are not affected.', help_text='On the warranty certificate, and on the invoice of the repair.', max_length=2000, verbose_name='On warranty certificates')),
                ('reminder_text', models.TextField(blank=True, default='Our records show that this invoice is still unpaid.', help_text='First sentence of a reminder. The amount and its due date follow.', max_length=2000, verbose_name='In reminders')),
                ('parcel_text', models.TextField(blank=True, default='', help_text='On the packing slip that travels with a device.', max_length=2000, verbose_name='In parcels')),
                ('clock_seen_at', models.DateTimeField(editable=False, null=True)),
                ('clock_doubted_since', models.DateTimeField(editable=False, null=True, verbose_name='clock doubted since')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('id', 1)), name='shop_is_one'), models.CheckConstraint(condition=models.Q(('cash_step__gte', 0), ('diagnosis_fee__gte', 0), ('hourly_cost__gte', 0), ('hourly_rate__gte', 0), ('markup__gte', 0), ('return_shipping_price__gte', 0), ('rounding_step__gte', 0), ('target_margin__gte', 0), ('target_margin__lt', 100)), name='shop_amounts_make_sense'), models.CheckConstraint(condition=models.Q(('final_test_risk__gt', 0), ('final_test_risk__lt', 1), ('max_comeback_risk__gt', 0), ('max_comeback_risk__lt', 1), ('verdict_confidence__gt', Decimal('0.5')), ('verdict_confidence__lt', 1)), name='shop_chances_make_sense')],
            },
        ),
        migrations.CreateModel(
            name='TaxRate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], max_length=8)),
                ('rate', shopdesk.fields.FixedDecimalField(default=Decimal('0'), verbose_name='percent')),
                ('starts_on', models.DateField(verbose_name='from')),
                ('reason', models.CharField(blank=True, max_length=200, verbose_name='why there is no tax')),
            ],
            options={
                'ordering': ['kind', '-starts_on'],
                'constraints': [models.UniqueConstraint(fields=('kind', 'starts_on'), name='tax_rate_once_a_day'), models.CheckConstraint(condition=models.Q(models.Q(('kind__in', frozenset(['reduced', 'standard'])), ('rate__gt', 0), ('rate__lte', 100)), models.Q(models.Q(('kind__in', frozenset(['reduced', 'standard'])), _negated=True), ('rate', 0)), _connector='OR'), name='tax_rate_goes_with_its_kind')],
            },
        ),
        migrations.CreateModel(
            name='TrailEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(db_index=True)),
                ('by_name', models.CharField(blank=True, max_length=80)),
                ('source', models.CharField(max_length=60)),
                ('action', models.CharField(choices=[('created', 'created'), ('changed', 'changed'), ('deleted', 'deleted'), ('erased', 'personal data erased'), ('merged', 'another record merged into this one'), ('code_shown', 'access code shown'), ('downloaded', 'data downloaded'), ('imported', 'data imported'), ('backed_up', 'backup made'), ('restored', 'backup restored'), ('signed_in', 'signed in'), ('signed_out', 'signed out'), ('sign_in_failed', 'sign-in failed'), ('passphrase_issued', 'passphrase issued'), ('wrong_secret', 'wrong password or code'), ('factor_added', 'second factor set up'), ('factor_removed', 'second factor removed'), ('codes_replaced', 'recovery codes replaced'), ('recovery_code_used', 'recovery code used'), ('key_changed', 'key of access codes changed'), ('sessions_ended', 'sessions ended')], max_length=20)),
                ('kind', models.CharField(blank=True, max_length=60)),
                ('record', models.BigIntegerField(null=True)),
                ('parent_kind', models.CharField(blank=True, max_length=60)),
                ('parent', models.BigIntegerField(null=True)),
                ('details', models.TextField(blank=True)),
                ('salt', models.CharField(blank=True, max_length=32)),
                ('details_hash', models.CharField(max_length=64)),
                ('position', models.BigIntegerField(null=True, unique=True)),
                ('previous_hash', models.CharField(blank=True, max_length=64)),
                ('hash', models.CharField(blank=True, max_length=64)),
                ('by', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name_plural': 'trail entries',
                'ordering': ['-id'],
            },
        ),
        migrations.AddIndex(
            model_name='email',
            index=models.Index(fields=['next_try_at'], name='shopdesk_em_next_tr_158dd7_idx'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('to', ''), _negated=True), models.Q(('subject', ''), _negated=True)), name='email_is_addressed'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(('sent_at', None), models.Q(('discarded_at', None), ('next_try_at', None)), _connector='OR'), name='email_sent_is_final'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(('discarded_at', None), ('next_try_at', None), _connector='OR'), name='email_discarded_is_final'),
        ),
        migrations.AddConstraint(
            model_name='recoverycode',
            constraint=models.UniqueConstraint(fields=('user', 'code_hash'), name='recovery_code_once'),
        ),
        migrations.AddIndex(
            model_name='trailentry',
            index=models.Index(fields=['kind', 'record', 'id'], name='trail_of_record'),
        ),
        migrations.AddIndex(
            model_name='trailentry',
            index=models.Index(condition=models.Q(('parent__isnull', False)), fields=['parent_kind', 'parent', 'id'], name='trail_of_parent'),
        ),
        migrations.AddIndex(
            model_name='trailentry',
            index=models.Index(fields=['by', 'id'], name='trail_of_person'),
        ),
        migrations.AddIndex(
            model_name='trailentry',
            index=models.Index(fields=['action', 'id'], name='trail_of_action'),
        ),
        migrations.AddIndex(
            model_name='trailentry',
            index=models.Index(condition=models.Q(('position', None)), fields=['id'], name='trail_unsealed'),
        ),
    ]
