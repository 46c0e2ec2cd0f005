import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import shopdesk.fields
import uuid
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Check',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('is_retired', models.BooleanField(default=False, verbose_name='retired')),
                ('name', models.CharField(max_length=120, unique=True)),
                ('where', models.CharField(blank=True, max_length=120)),
                ('minutes', shopdesk.fields.SmallNumberField(default=5)),
                ('results', models.CharField(blank=True, max_length=300)),
            ],
            options={
                'ordering': ['name'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Repair',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('fix_type', models.CharField(blank=True, choices=[('lasting', 'lasting'), ('stopgap', 'stopgap')], default='', max_length=7)),
                ('outcome', models.CharField(blank=True, choices=[('fixed', 'fixed'), ('not_fixed', 'not fixed'), ('no_fault_found', 'no fault found'), ('not_repairable', 'not repairable')], default='', max_length=14)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('no_part_needed', models.BooleanField(default=False, verbose_name='no part was needed')),
                ('minutes_from_history', models.PositiveIntegerField(default=0, editable=False)),
                ('parts_cost_from_history', shopdesk.fields.MoneyField(default=Decimal('0'), editable=False)),
                ('imported_text', models.TextField(blank=True, default='', editable=False)),
                ('charged', shopdesk.fields.MoneyField(blank=True, editable=False, null=True)),
                ('cost', shopdesk.fields.MoneyField(blank=True, editable=False, null=True)),
                ('comeback_allowance', shopdesk.fields.MoneyField(blank=True, null=True)),
                ('handed_over_on', models.DateField(blank=True, editable=False, null=True)),
                ('warranty_days', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('warranty_until', models.DateField(blank=True, editable=False, null=True)),
                ('by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='Supplier',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80, unique=True)),
            ],
            options={
                'ordering': ['name'],
            },
        ),
        migrations.CreateModel(
            name='Symptom',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('is_retired', models.BooleanField(default=False, verbose_name='retired')),
                ('name', models.CharField(max_length=120, unique=True)),
            ],
            options={
                'ordering': ['name'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='ChangeMark',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('table_name', models.CharField(editable=False, max_length=63)),
                ('written_in', models.BigIntegerField(editable=False)),
                ('mark', models.BigIntegerField(editable=False)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('table_name', 'written_in'), name='changed_one_mark_a_transaction')],
            },
        ),
        migrations.CreateModel(
            name='Customer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('search', models.TextField(default='', editable=False)),
                ('name', models.CharField(max_length=120)),
                ('company', models.CharField(blank=True, max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('phone', models.CharField(blank=True, help_text='E.164', max_length=20)),
                ('address', models.TextField(blank=True, max_length=300)),
                ('country', models.CharField(blank=True, max_length=2, verbose_name='country code')),
                ('tax_id', models.CharField(blank=True, max_length=40, verbose_name='tax number')),
                ('tax_kind', models.CharField(blank=True, choices=[('', 'shop default'), ('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], default='', max_length=8, verbose_name='tax')),
                ('einvoice', models.CharField(blank=True, choices=[('', 'none'), ('pdf', 'inside the PDF'), ('ubl', 'as a UBL file')], default='', help_text='For a business whose accounting software imports invoices (EN 16931). Inside the PDF suits most; choose the UBL file if they ask for it.', max_length=3, verbose_name='e-invoice')),
                ('preferred_contact', models.CharField(choices=[('phone', 'phone'), ('email', 'email'), ('post', 'post')], default='phone', max_length=5, verbose_name='preferred contact')),
                ('notes', models.TextField(blank=True, max_length=2000)),
                ('keep_until', models.DateField(blank=True, null=True, verbose_name='keep data until')),
                ('keep_reason', models.CharField(blank=True, max_length=200, verbose_name='reason')),
                ('erased_on', models.DateField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'ordering': ['name', 'id'],
                'indexes': [models.Index(fields=['phone'], name='repairs_cus_phone_066b15_idx'), models.Index(fields=['email'], name='repairs_cus_email_90bc64_idx')],
                'constraints': [models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='customer_has_name'), models.CheckConstraint(condition=models.Q(('keep_until', None), models.Q(('keep_reason', ''), _negated=True), _connector='OR'), name='customer_kept_for_a_reason')],
            },
        ),
        migrations.CreateModel(
            name='DeviceModel',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(help_text='laptop, tablet, amplifier …', max_length=40)),
                ('maker', models.CharField(blank=True, max_length=60)),
                ('model', models.CharField(max_length=80)),
            ],
            options={
                'ordering': ['maker', 'model'],
                'constraints': [models.UniqueConstraint(fields=('kind', 'maker', 'model'), name='device_model_once'), models.CheckConstraint(condition=models.Q(models.Q(('kind', ''), _negated=True), models.Q(('model', ''), _negated=True)), name='device_model_is_named')],
            },
        ),
        migrations.CreateModel(
            name='Device',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('serial', models.CharField(blank=True, max_length=60)),
                ('board_revision', models.CharField(blank=True, max_length=40)),
                ('out_of_use_on', models.DateField(blank=True, null=True)),
                ('maker_key', models.CharField(default='', editable=False, max_length=60)),
                ('serial_normalized', models.CharField(default='', editable=False, max_length=60)),
                ('serial_lookalike', models.CharField(default='', editable=False, max_length=60)),
                ('owner', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='devices', to='repairs.customer')),
                ('model', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='devices', to='repairs.devicemodel')),
            ],
        ),
        migrations.CreateModel(
            name='Fault',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('is_retired', models.BooleanField(default=False, verbose_name='retired')),
                ('code', models.CharField(max_length=40, unique=True, validators=[django.core.validators.RegexValidator('^[A-Z0-9]+(?:-[A-Z0-9]+)*\\Z', 'Use capitals and digits in groups joined by hyphens, such as PWR-JACK-OPEN.')])),
                ('name', models.CharField(max_length=120)),
                ('hazard', models.CharField(blank=True, choices=[('', 'none'), ('battery', 'battery'), ('mains', 'mains or high voltage'), ('heat', 'hot air and fumes')], default='', max_length=10)),
                ('notes', models.TextField(blank=True, max_length=4000)),
                ('area', models.CharField(blank=True, max_length=60)),
                ('part', models.CharField(blank=True, max_length=60)),
                ('mode', models.CharField(blank=True, max_length=60)),
                ('cause', models.CharField(blank=True, max_length=120)),
            ],
            options={
                'ordering': ['code'],
                'abstract': False,
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('code', ''), _negated=True), models.Q(('name', ''), _negated=True)), name='fault_is_named'), models.CheckConstraint(condition=models.Q(('hazard__in', ['', 'battery', 'mains', 'heat'])), name='fault_hazard_is_known')],
            },
        ),
        migrations.CreateModel(
            name='Fix',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('is_retired', models.BooleanField(default=False, verbose_name='retired')),
                ('code', models.CharField(max_length=40, unique=True, validators=[django.core.validators.RegexValidator('^[A-Z0-9]+(?:-[A-Z0-9]+)*\\Z', 'Use capitals and digits in groups joined by hyphens, such as PWR-JACK-OPEN.')])),
                ('name', models.CharField(max_length=120)),
                ('hazard', models.CharField(blank=True, choices=[('', 'none'), ('battery', 'battery'), ('mains', 'mains or high voltage'), ('heat', 'hot air and fumes')], default='', max_length=10)),
                ('notes', models.TextField(blank=True, max_length=4000)),
                ('fix_type', models.CharField(choices=[('lasting', 'lasting'), ('stopgap', 'stopgap')], default='lasting', max_length=7, verbose_name='usual type')),
                ('minutes', shopdesk.fields.SmallNumberField(default=30, verbose_name='usual minutes')),
                ('warranty_days', shopdesk.fields.SmallNumberField(blank=True, help_text='Blank: shop default.', null=True)),
                ('faults', models.ManyToManyField(blank=True, related_name='fixes', to='repairs.fault')),
            ],
            options={
                'verbose_name_plural': 'fixes',
                'ordering': ['code'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=40, unique=True)),
                ('key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('state', models.CharField(choices=[('expected', 'expected'), ('booked_in', 'booked in'), ('diagnosed', 'diagnosed'), ('quoted', 'quoted'), ('approved', 'approved'), ('declined', 'declined'), ('repaired', 'repaired'), ('tested', 'tested'), ('ready', 'ready'), ('handed_over', 'handed over')], default='booked_in', editable=False, max_length=12, verbose_name='status')),
                ('outcome', models.CharField(blank=True, choices=[('fixed', 'fixed'), ('not_fixed', 'not fixed'), ('no_fault_found', 'no fault found'), ('not_repairable', 'not repairable'), ('declined', 'declined')], default='', editable=False, max_length=14)),
                ('complaint', models.TextField(blank=True, max_length=2000, verbose_name='complaint, in the customer’s words')),
                ('occurs_when', models.CharField(blank=True, max_length=300, verbose_name='when it happens')),
                ('counter_failures', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='failed at the counter')),
                ('counter_tries', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='tries at the counter')),
                ('condition', models.CharField(blank=True, max_length=300, verbose_name='condition on arrival')),
                ('accessories', models.CharField(blank=True, max_length=300)),
                ('came_by', models.CharField(choices=[('counter', 'over the counter'), ('post', 'by post')], default='counter', max_length=7)),
                ('has_swollen_battery', models.BooleanField(default=False, verbose_name='swollen battery')),
                ('has_liquid_damage', models.BooleanField(default=False, verbose_name='liquid damage')),
                ('has_mains_voltage', models.BooleanField(default=False, verbose_name='mains voltage inside')),
                ('data_access', models.CharField(choices=[('ask', 'not asked'), ('no', 'no access'), ('yes', 'access if needed for the repair')], default='ask', max_length=3, verbose_name='customer data')),
                ('agreed_diagnosis_fee', shopdesk.fields.MoneyField(blank=True, null=True, verbose_name='diagnosis fee')),
                ('due_on', models.DateField(blank=True, null=True, verbose_name='due date')),
                ('waiting_for', models.CharField(blank=True, choices=[('', 'nobody'), ('customer', 'customer'), ('parts', 'parts'), ('post', 'post')], default='', max_length=8)),
                ('uncollected_since', models.DateField(blank=True, null=True)),
                ('verified_failures', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='failed')),
                ('verified_tries', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='tries')),
                ('bench_notes', models.TextField(blank=True, max_length=4000)),
                ('booked_in_on', models.DateField()),
                ('handed_over_on', models.DateField(blank=True, editable=False, null=True)),
                ('is_from_history', models.BooleanField(default=False, editable=False)),
                ('imported_text', models.TextField(blank=True, default='', editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('changed_at', models.DateTimeField(editable=False, null=True)),
                ('booked_in_by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('changed_by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('customer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='repairs.customer')),
                ('device', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='repairs.device')),
                ('symptoms', models.ManyToManyField(blank=True, related_name='jobs', to='repairs.symptom')),
            ],
            options={
                'ordering': ['-booked_in_on', '-id'],
            },
        ),
        migrations.CreateModel(
            name='AccessCode',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ciphertext', models.BinaryField()),
                ('job', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='access_code', to='repairs.job')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='JobTransition',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('from_state', models.CharField(blank=True, choices=[('expected', 'expected'), ('booked_in', 'booked in'), ('diagnosed', 'diagnosed'), ('quoted', 'quoted'), ('approved', 'approved'), ('declined', 'declined'), ('repaired', 'repaired'), ('tested', 'tested'), ('ready', 'ready'), ('handed_over', 'handed over')], max_length=12)),
                ('to_state', models.CharField(choices=[('expected', 'expected'), ('booked_in', 'booked in'), ('diagnosed', 'diagnosed'), ('quoted', 'quoted'), ('approved', 'approved'), ('declined', 'declined'), ('repaired', 'repaired'), ('tested', 'tested'), ('ready', 'ready'), ('handed_over', 'handed over')], max_length=12)),
                ('made_at', models.DateTimeField()),
                ('why', models.CharField(blank=True, max_length=500)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='transitions', to='repairs.job')),
            ],
            options={
                'verbose_name': 'change of status',
                'verbose_name_plural': 'changes of status',
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='Part',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('search', models.TextField(default='', editable=False)),
                ('number', models.CharField(max_length=40, unique=True)),
                ('name', models.CharField(max_length=120)),
                ('value', models.CharField(blank=True, help_text='As printed on the reel: 4k7 1% 0402, 22uF 6.3V X5R, 90R@100MHz', max_length=60)),
                ('maker_number', models.CharField(blank=True, max_length=60, verbose_name='maker’s number')),
                ('supplier_number', models.CharField(blank=True, max_length=60, verbose_name='supplier’s number')),
                ('bin', models.CharField(blank=True, max_length=20)),
                ('fixed_price', shopdesk.fields.MoneyField(blank=True, help_text='Blank: cost plus the shop’s markup.', null=True, verbose_name='price')),
                ('on_hand', models.PositiveIntegerField(default=0, editable=False)),
                ('is_retired', models.BooleanField(default=False, verbose_name='retired')),
                ('substitutes', models.ManyToManyField(blank=True, to='repairs.part')),
            ],
            options={
                'ordering': ['number'],
            },
        ),
        migrations.CreateModel(
            name='Delivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('lot', models.CharField(blank=True, max_length=40, verbose_name='lot or date code')),
                ('quantity', models.PositiveIntegerField()),
                ('remaining', models.PositiveIntegerField(editable=False)),
                ('unit_cost', shopdesk.fields.MoneyField(null=True)),
                ('received_on', models.DateField()),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to='repairs.part')),
                ('supplier', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to='repairs.supplier')),
            ],
            options={
                'verbose_name_plural': 'deliveries',
                'ordering': ['received_on', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Reading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('test_point', models.CharField(max_length=120)),
                ('value', shopdesk.fields.FixedDecimalField()),
                ('unit', models.CharField(blank=True, max_length=12)),
                ('low', shopdesk.fields.FixedDecimalField(blank=True, null=True, verbose_name='expected from')),
                ('high', shopdesk.fields.FixedDecimalField(blank=True, null=True, verbose_name='expected to')),
                ('read_at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='readings', to='repairs.job')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='ReturnAssessment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('assessment', models.CharField(choices=[('same_fault', 'same fault'), ('new_fault', 'new fault'), ('handling_damage', 'handling damage'), ('no_fault_found', 'no fault found'), ('undecided', 'not assessed')], max_length=15, verbose_name='assessment')),
                ('is_in_warranty', models.BooleanField(default=False, verbose_name='covered')),
                ('why', models.CharField(blank=True, max_length=500)),
                ('assessed_on', models.DateField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='decisions', to='repairs.job')),
                ('earlier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='later_assessments', to='repairs.repair')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='repair',
            name='fault',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='repairs', to='repairs.fault'),
        ),
        migrations.AddField(
            model_name='repair',
            name='fix',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='repairs', to='repairs.fix'),
        ),
        migrations.AddField(
            model_name='repair',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='repairs', to='repairs.job'),
        ),
        migrations.CreateModel(
            name='PartUsed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField(default=1)),
                ('cost', shopdesk.fields.MoneyField(default=Decimal('0'), verbose_name='cost of one')),
                ('price', shopdesk.fields.MoneyField(default=Decimal('0'), verbose_name='price of one')),
                ('delivery', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='used_in', to='repairs.delivery')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='used_in', to='repairs.part')),
                ('repair', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts_used', to='repairs.repair')),
            ],
            options={
                'verbose_name_plural': 'parts used',
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='Labour',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('booked_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('started_at', models.DateTimeField(blank=True, null=True)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('minutes', models.PositiveIntegerField(default=0)),
                ('is_billable', models.BooleanField(default=True, verbose_name='billable')),
                ('note', models.CharField(blank=True, max_length=200)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='labour', to='repairs.job')),
                ('repair', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='labour', to='repairs.repair')),
            ],
            options={
                'verbose_name_plural': 'labour',
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='FinalTest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('tries', models.PositiveSmallIntegerField()),
                ('failed', models.PositiveSmallIntegerField(default=0)),
                ('needed', models.PositiveSmallIntegerField(editable=False)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('run_at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('repair', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='final_tests', to='repairs.repair')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='StockMovement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('received', 'received'), ('used', 'used'), ('put_back', 'put back'), ('counted', 'counted'), ('scrapped', 'scrapped')], max_length=8)),
                ('quantity', models.IntegerField()),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('moved_at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('delivery', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='repairs.delivery')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='repairs.part')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='UsualPart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveSmallIntegerField(default=1)),
                ('fix', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='usual_parts', to='repairs.fix')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='usual_in', to='repairs.part')),
            ],
        ),
        migrations.CreateModel(
            name='Comeback',
            fields=[
                ('decision', models.OneToOneField(editable=False, on_delete=django.db.models.deletion.CASCADE, primary_key=True, serialize=False, to='repairs.returnassessment')),
                ('handed_over_on', models.DateField(editable=False)),
                ('came_back_on', models.DateField(editable=False)),
                ('rework_handed_over_on', models.DateField(editable=False, null=True)),
                ('cost', shopdesk.fields.MoneyField(editable=False, null=True)),
                ('recorded_on', models.DateField(editable=False)),
                ('superseded_on', models.DateField(editable=False, null=True)),
                ('earlier', models.ForeignKey(editable=False, on_delete=django.db.models.deletion.CASCADE, related_name='comebacks', to='repairs.repair')),
                ('fault', models.ForeignKey(db_index=False, editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='repairs.fault')),
                ('fix', models.ForeignKey(db_index=False, editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='repairs.fix')),
                ('job', models.ForeignKey(editable=False, on_delete=django.db.models.deletion.CASCADE, related_name='comebacks', to='repairs.job')),
            ],
        ),
        migrations.AddIndex(
            model_name='device',
            index=models.Index(fields=['serial_normalized'], name='repairs_dev_serial__0099d3_idx'),
        ),
        migrations.AddIndex(
            model_name='device',
            index=models.Index(fields=['serial_lookalike'], name='repairs_dev_serial__20aad3_idx'),
        ),
        migrations.AddConstraint(
            model_name='device',
            constraint=models.UniqueConstraint(condition=models.Q(('serial_normalized', ''), _negated=True), fields=('maker_key', 'serial_normalized'), name='device_serial_once_a_maker'),
        ),
        migrations.AddConstraint(
            model_name='fix',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('code', ''), _negated=True), models.Q(('name', ''), _negated=True)), name='fix_is_named'),
        ),
        migrations.AddConstraint(
            model_name='fix',
            constraint=models.CheckConstraint(condition=models.Q(('hazard__in', ['', 'battery', 'mains', 'heat'])), name='fix_hazard_is_known'),
        ),
        migrations.AddConstraint(
            model_name='fix',
            constraint=models.CheckConstraint(condition=models.Q(('fix_type__in', ['lasting', 'stopgap'])), name='fix_type_is_known'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('number', ''), _negated=True), name='part_has_number'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('fixed_price', None), ('fixed_price__gte', 0), _connector='OR'), name='part_price_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('low', None), ('high', None), ('low__lte', models.F('high')), _connector='OR'), name='reading_low_below_high'),
        ),
        migrations.AddIndex(
            model_name='returnassessment',
            index=models.Index(fields=['earlier', 'assessment'], name='repairs_ret_earlier_99b558_idx'),
        ),
        migrations.AddConstraint(
            model_name='returnassessment',
            constraint=models.CheckConstraint(condition=models.Q(('assessment__in', ['same_fault', 'new_fault', 'handling_damage', 'no_fault_found', 'undecided'])), name='return_is_known'),
        ),
        migrations.AddConstraint(
            model_name='returnassessment',
            constraint=models.CheckConstraint(condition=models.Q(('is_in_warranty', False), ('assessment__in', ['same_fault', 'undecided']), _connector='OR'), name='return_covered_only_same_fault'),
        ),
        migrations.AddIndex(
            model_name='repair',
            index=models.Index(fields=['outcome', 'fault', 'fix', 'fix_type', 'handed_over_on'], name='repair_pair_by_day'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(('fix_type__in', ['', 'lasting', 'stopgap'])), name='repair_fix_type_is_known'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(('outcome__in', ['', 'fixed', 'not_fixed', 'no_fault_found', 'not_repairable'])), name='repair_outcome_is_known'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('outcome', 'fixed'), _negated=True), models.Q(('fix__isnull', False), models.Q(('fix_type', ''), _negated=True)), _connector='OR'), name='repair_fixed_has_fix_and_kind'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('charged', None), ('charged__gte', 0), _connector='OR'), models.Q(('cost', None), ('cost__gte', 0), _connector='OR'), models.Q(('comeback_allowance', None), ('comeback_allowance__gte', 0), _connector='OR')), name='repair_amounts_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='partused',
            constraint=models.CheckConstraint(condition=models.Q(('cost__gte', 0), ('price__gte', 0), ('quantity__gte', 1)), name='part_used_amounts'),
        ),
        migrations.AddConstraint(
            model_name='labour',
            constraint=models.CheckConstraint(condition=models.Q(('ended_at', None), ('ended_at__gte', models.F('started_at')), _connector='OR'), name='labour_ends_after_it_starts'),
        ),
        migrations.AddConstraint(
            model_name='labour',
            constraint=models.CheckConstraint(condition=models.Q(('minutes__lte', 10000)), name='labour_minutes_make_sense'),
        ),
        migrations.AddConstraint(
            model_name='labour',
            constraint=models.UniqueConstraint(condition=models.Q(('ended_at', None), ('started_at__isnull', False)), fields=('by',), name='labour_one_running_timer'),
        ),
        migrations.AddConstraint(
            model_name='finaltest',
            constraint=models.CheckConstraint(condition=models.Q(('failed__lte', models.F('tries')), ('needed__gte', 1), ('tries__gte', 1)), name='final_test_counts'),
        ),
        migrations.AddConstraint(
            model_name='stockmovement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind__in', ['received', 'put_back']), ('quantity__gt', 0)), models.Q(('kind__in', ['used', 'scrapped']), ('quantity__lt', 0)), ('kind', 'counted'), _connector='OR'), name='stock_movement_direction'),
        ),
        migrations.AddConstraint(
            model_name='delivery',
            constraint=models.CheckConstraint(condition=models.Q(('remaining__lte', models.F('quantity'))), name='delivery_never_above_received'),
        ),
        migrations.AddConstraint(
            model_name='delivery',
            constraint=models.CheckConstraint(condition=models.Q(('unit_cost__gte', 0)), name='delivery_cost_not_negative'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['state', 'booked_in_on'], name='repairs_job_state_f0e3f6_idx'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['handed_over_on'], name='repairs_job_handed__4774b0_idx'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(django.db.models.functions.text.Upper('number'), name='job_number_in_any_case'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['expected', 'booked_in', 'diagnosed', 'quoted', 'approved', 'declined', 'repaired', 'tested', 'ready', 'handed_over'])), name='job_state_is_known'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('outcome__in', ['', 'fixed', 'not_fixed', 'no_fault_found', 'not_repairable', 'declined'])), name='job_outcome_is_known'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('handed_over_on__isnull', False), ('state', 'handed_over')), models.Q(models.Q(('state', 'handed_over'), _negated=True), ('handed_over_on', None)), _connector='OR'), name='job_handed_over_has_its_day'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('state__in', ['ready', 'handed_over']), _negated=True), models.Q(('outcome', ''), _negated=True), _connector='OR'), name='job_finished_has_outcome'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('handed_over_on', None), ('handed_over_on__gte', models.F('booked_in_on')), _connector='OR'), name='job_handed_over_after_booked_in'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('verified_failures', None), ('verified_tries', None)), models.Q(('verified_failures__lte', models.F('verified_tries')), ('verified_tries__gte', 1)), _connector='OR'), name='job_verified_k_of_m'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('counter_failures', None), ('counter_tries', None)), models.Q(('counter_failures__lte', models.F('counter_tries')), ('counter_tries__gte', 1)), _connector='OR'), name='job_counter_k_of_m'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('agreed_diagnosis_fee', None), ('agreed_diagnosis_fee__gte', 0), _connector='OR'), name='job_fee_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='usualpart',
            constraint=models.UniqueConstraint(fields=('fix', 'part'), name='usual_part_once'),
        ),
        migrations.AddConstraint(
            model_name='usualpart',
            constraint=models.CheckConstraint(condition=models.Q(('quantity__gte', 1)), name='usual_part_at_least_one'),
        ),
    ]
