from collections.abc import Iterable as _Iterable
from collections.abc import Mapping as _Mapping
from typing import ClassVar as _ClassVar

from google.protobuf import descriptor as _descriptor
from google.protobuf import message as _message
from google.protobuf.internal import containers as _containers
from google.protobuf.internal import python_message as _python_message

DESCRIPTOR: _descriptor.FileDescriptor

class Payload(_message.Message):
    __slots__ = ("body", "metrics", "seq", "timestamp", "uuid")
    Extensions: _python_message._ExtensionDict
    class PropertyValue(_message.Message):
        __slots__ = (
            "boolean_value",
            "double_value",
            "float_value",
            "int_value",
            "is_null",
            "long_value",
            "string_value",
            "type",
        )
        Extensions: _python_message._ExtensionDict
        TYPE_FIELD_NUMBER: _ClassVar[int]
        IS_NULL_FIELD_NUMBER: _ClassVar[int]
        INT_VALUE_FIELD_NUMBER: _ClassVar[int]
        LONG_VALUE_FIELD_NUMBER: _ClassVar[int]
        FLOAT_VALUE_FIELD_NUMBER: _ClassVar[int]
        DOUBLE_VALUE_FIELD_NUMBER: _ClassVar[int]
        BOOLEAN_VALUE_FIELD_NUMBER: _ClassVar[int]
        STRING_VALUE_FIELD_NUMBER: _ClassVar[int]
        type: int
        is_null: bool
        int_value: int
        long_value: int
        float_value: float
        double_value: float
        boolean_value: bool
        string_value: str
        def __init__(
            self,
            type: int | None = ...,
            is_null: bool | None = ...,
            int_value: int | None = ...,
            long_value: int | None = ...,
            float_value: float | None = ...,
            double_value: float | None = ...,
            boolean_value: bool | None = ...,
            string_value: str | None = ...,
        ) -> None: ...

    class PropertySet(_message.Message):
        __slots__ = ("keys", "values")
        Extensions: _python_message._ExtensionDict
        KEYS_FIELD_NUMBER: _ClassVar[int]
        VALUES_FIELD_NUMBER: _ClassVar[int]
        keys: _containers.RepeatedScalarFieldContainer[str]
        values: _containers.RepeatedCompositeFieldContainer[Payload.PropertyValue]
        def __init__(
            self,
            keys: _Iterable[str] | None = ...,
            values: _Iterable[Payload.PropertyValue | _Mapping] | None = ...,
        ) -> None: ...

    class Metric(_message.Message):
        __slots__ = (
            "alias",
            "boolean_value",
            "bytes_value",
            "dataset_value",
            "datatype",
            "double_value",
            "extension_value",
            "float_value",
            "int_value",
            "is_historical",
            "is_null",
            "is_transient",
            "long_value",
            "metadata",
            "name",
            "properties",
            "string_value",
            "template_value",
            "timestamp",
        )
        Extensions: _python_message._ExtensionDict
        NAME_FIELD_NUMBER: _ClassVar[int]
        ALIAS_FIELD_NUMBER: _ClassVar[int]
        TIMESTAMP_FIELD_NUMBER: _ClassVar[int]
        DATATYPE_FIELD_NUMBER: _ClassVar[int]
        IS_HISTORICAL_FIELD_NUMBER: _ClassVar[int]
        IS_TRANSIENT_FIELD_NUMBER: _ClassVar[int]
        IS_NULL_FIELD_NUMBER: _ClassVar[int]
        METADATA_FIELD_NUMBER: _ClassVar[int]
        PROPERTIES_FIELD_NUMBER: _ClassVar[int]
        INT_VALUE_FIELD_NUMBER: _ClassVar[int]
        LONG_VALUE_FIELD_NUMBER: _ClassVar[int]
        FLOAT_VALUE_FIELD_NUMBER: _ClassVar[int]
        DOUBLE_VALUE_FIELD_NUMBER: _ClassVar[int]
        BOOLEAN_VALUE_FIELD_NUMBER: _ClassVar[int]
        STRING_VALUE_FIELD_NUMBER: _ClassVar[int]
        BYTES_VALUE_FIELD_NUMBER: _ClassVar[int]
        DATASET_VALUE_FIELD_NUMBER: _ClassVar[int]
        TEMPLATE_VALUE_FIELD_NUMBER: _ClassVar[int]
        EXTENSION_VALUE_FIELD_NUMBER: _ClassVar[int]
        name: str
        alias: int
        timestamp: int
        datatype: int
        is_historical: bool
        is_transient: bool
        is_null: bool
        metadata: bytes
        properties: Payload.PropertySet
        int_value: int
        long_value: int
        float_value: float
        double_value: float
        boolean_value: bool
        string_value: str
        bytes_value: bytes
        dataset_value: bytes
        template_value: bytes
        extension_value: bytes
        def __init__(
            self,
            name: str | None = ...,
            alias: int | None = ...,
            timestamp: int | None = ...,
            datatype: int | None = ...,
            is_historical: bool | None = ...,
            is_transient: bool | None = ...,
            is_null: bool | None = ...,
            metadata: bytes | None = ...,
            properties: Payload.PropertySet | _Mapping | None = ...,
            int_value: int | None = ...,
            long_value: int | None = ...,
            float_value: float | None = ...,
            double_value: float | None = ...,
            boolean_value: bool | None = ...,
            string_value: str | None = ...,
            bytes_value: bytes | None = ...,
            dataset_value: bytes | None = ...,
            template_value: bytes | None = ...,
            extension_value: bytes | None = ...,
        ) -> None: ...

    TIMESTAMP_FIELD_NUMBER: _ClassVar[int]
    METRICS_FIELD_NUMBER: _ClassVar[int]
    SEQ_FIELD_NUMBER: _ClassVar[int]
    UUID_FIELD_NUMBER: _ClassVar[int]
    BODY_FIELD_NUMBER: _ClassVar[int]
    timestamp: int
    metrics: _containers.RepeatedCompositeFieldContainer[Payload.Metric]
    seq: int
    uuid: str
    body: bytes
    def __init__(
        self,
        timestamp: int | None = ...,
        metrics: _Iterable[Payload.Metric | _Mapping] | None = ...,
        seq: int | None = ...,
        uuid: str | None = ...,
        body: bytes | None = ...,
    ) -> None: ...
