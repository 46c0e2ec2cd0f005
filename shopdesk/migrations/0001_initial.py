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
            name='Series',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=20, unique=True)),
                ('kind', models.CharField(blank=True, default='', max_length=8, verbose_name='what it numbers')),
                ('last', models.PositiveIntegerField(default=0)),
            ],
            options={
                'verbose_name_plural': 'series',
            },
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('username', models.CharField(error_messages={'unique': 'Somebody here signs in by this name already.'}, max_length=40, unique=True, validators=[django.core.validators.RegexValidator('^[a-z0-9](?:[a-z0-9._-]*[a-z0-9])?\\Z', 'Use small letters and digits, with dots or dashes between them.')], verbose_name='sign-in name')),
                ('name', models.CharField(max_length=80)),
                ('kind', models.CharField(choices=[('counter', 'Counter'), ('bench', 'Bench'), ('owner', 'Owner')], default='counter', max_length=7)),
                ('is_active', models.BooleanField(default=True, verbose_name='may sign in')),
                ('passphrase_until', models.DateTimeField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['counter', 'bench', 'owner'])), name='staff_kind_is_known')],
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
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('said', models.CharField(blank=True, max_length=300, verbose_name='what went wrong')),
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
                ('kind', models.CharField(max_length=80, verbose_name='media type')),
                ('file', models.BinaryField()),
                ('letter', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='attachments', to='shopdesk.email')),
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
                'constraints': [models.UniqueConstraint(fields=('starts_at',), name='markup_band_once'), models.CheckConstraint(condition=models.Q(('percent__gte', 0), ('starts_at__gt', 0)), name='markup_band_makes_sense')],
            },
        ),
        migrations.CreateModel(
            name='Shop',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(default='Our repair bench', max_length=80)),
                ('address', models.TextField(blank=True, max_length=300)),
                ('country', models.CharField(default='GB', max_length=2, verbose_name='country code')),
                ('phone', models.CharField(blank=True, max_length=32)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('tax_id', models.CharField(blank=True, max_length=40, verbose_name='tax number')),
                ('currency', models.CharField(default='EUR', max_length=3)),
                ('locale', models.CharField(default='en_GB', max_length=12)),
                ('paper', models.CharField(choices=[('A4', 'A4'), ('Email', 'US Email')], default='A4', max_length=6)),
                ('prices_include_tax', models.BooleanField(default=False)),
                ('tax_kind', models.CharField(choices=[('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], default='standard', max_length=8, verbose_name='usual tax')),
                ('hourly_rate', shopdesk.fields.MoneyField(default=Decimal('68'), verbose_name='price of an hour')),
                ('hourly_cost', shopdesk.fields.MoneyField(default=Decimal('34'), verbose_name='cost of an hour')),
                ('minimum_minutes', models.PositiveSmallIntegerField(default=15, verbose_name='least minutes charged')),
                ('rounding_step', shopdesk.fields.MoneyField(default=Decimal('0.50'), verbose_name='round labour to')),
                ('markup', shopdesk.fields.FixedDecimalField(default=Decimal('60'), verbose_name='markup on parts in percent')),
                ('diagnosis_fee', shopdesk.fields.MoneyField(default=Decimal('25'), verbose_name='fee for finding the fault')),
                ('deducts_diagnosis_fee', models.BooleanField(default=False, verbose_name='the fee comes off a repair that is paid for')),
                ('parcel', shopdesk.fields.MoneyField(default=Decimal('9'), verbose_name='price of a parcel')),
                ('target_margin', shopdesk.fields.FixedDecimalField(default=Decimal('15'), verbose_name='margin aimed at in percent')),
                ('quote_days', models.PositiveSmallIntegerField(default=30, verbose_name='a quote holds for days')),
                ('link_days', models.PositiveSmallIntegerField(default=90, verbose_name="a customer's link works for days")),
                ('uses_repair_form', models.BooleanField(default=False, verbose_name='offer the European Repair Information Form')),
                ('emails_customer', models.BooleanField(default=True, verbose_name="confirm a customer's answer by mail")),
                ('emails_shop', models.BooleanField(default=True, verbose_name='tell the shop by mail when a customer answers')),
                ('invoice_series', models.CharField(default='INV{yy}', max_length=8, verbose_name='invoice numbers begin with')),
                ('credit_series', models.CharField(default='CN{yy}', max_length=8, verbose_name='credit note numbers begin with')),
                ('payment_term_days', models.PositiveSmallIntegerField(default=14, verbose_name='a bill is due in days')),
                ('reminder_interval_days', models.PositiveSmallIntegerField(default=10, verbose_name='days between reminders')),
                ('cash_step', shopdesk.fields.MoneyField(default=Decimal('0'), verbose_name='round cash to')),
                ('warranty_days_lasting', models.PositiveSmallIntegerField(default=180, verbose_name='days of cover on a lasting fix')),
                ('warranty_days_stopgap', models.PositiveSmallIntegerField(default=30, verbose_name='days of cover on a stopgap')),
                ('warranty_days_minimum', models.PositiveSmallIntegerField(default=30, verbose_name='least days of cover after a covered redo')),
                ('comeback_period_days', models.PositiveSmallIntegerField(default=90, validators=[django.core.validators.MinValueValidator(7), django.core.validators.MaxValueValidator(730)], verbose_name='a comeback counts within days')),
                ('max_comeback_risk', shopdesk.fields.FixedDecimalField(default=Decimal('0.1'), verbose_name='highest return risk we accept')),
                ('verdict_confidence', shopdesk.fields.FixedDecimalField(default=Decimal('0.9'), verbose_name='how sure a verdict must be')),
                ('final_test_risk', shopdesk.fields.FixedDecimalField(default=Decimal('0.05'), verbose_name='chance we accept that an unmended device passes')),
                ('slip_text', models.TextField(blank=True, default='Bring this slip when you collect. We look at your data only where you allowed it and only as far as the work needs it. Data can be lost during a repair: keep a copy.', max_length=2000)),
                ('warranty_text', models.TextField(blank=True, default='Cover is for the same fault. It ends where the device was opened by others, dropped or got wet. Your rights by law are not touched; check your local rules.', max_length=2000)),
                ('quote_text', models.TextField(blank=True, default='', max_length=2000)),
                ('acceptance_text', models.TextField(blank=True, default='', max_length=2000)),
                ('invoice_text', models.TextField(blank=True, default='', max_length=2000)),
                ('reminder_text', models.TextField(blank=True, default='It may have slipped your attention: this bill is still open.', max_length=2000)),
                ('parcel_text', models.TextField(blank=True, default='', max_length=2000)),
                ('letterhead', models.TextField(blank=True, max_length=300, verbose_name='lines under the name on papers')),
                ('other_contact', models.CharField(blank=True, max_length=120, verbose_name='another way to reach us online')),
                ('logo', models.BinaryField(null=True)),
                ('paper_language', models.CharField(default='en', max_length=5, verbose_name='papers are written in')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('id', 1)), name='shop_is_one'), models.CheckConstraint(condition=models.Q(('cash_step__gte', 0), ('diagnosis_fee__gte', 0), ('hourly_cost__gte', 0), ('hourly_rate__gte', 0), ('markup__gte', 0), ('parcel__gte', 0), ('rounding_step__gte', 0), ('target_margin__gte', 0), ('target_margin__lt', 100)), name='shop_amounts_make_sense'), models.CheckConstraint(condition=models.Q(('final_test_risk__gt', 0), ('final_test_risk__lt', 1), ('max_comeback_risk__gt', 0), ('max_comeback_risk__lt', 1), ('verdict_confidence__gt', Decimal('0.5')), ('verdict_confidence__lt', 1)), name='shop_chances_make_sense')],
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
        migrations.AddIndex(
            model_name='email',
            index=models.Index(fields=['next_try_at'], name='shopdesk_em_next_tr_158dd7_idx'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('to', ''), _negated=True), models.Q(('subject', ''), _negated=True)), name='letter_is_addressed'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(('sent_at', None), models.Q(('discarded_at', None), ('next_try_at', None)), _connector='OR'), name='letter_sent_is_over'),
        ),
        migrations.AddConstraint(
            model_name='email',
            constraint=models.CheckConstraint(condition=models.Q(('discarded_at', None), ('next_try_at', None), _connector='OR'), name='letter_dropped_is_over'),
        ),
    ]
