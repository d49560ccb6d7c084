"""DICOM files: read back by pydicom, marked as simulated, the size of things right."""

import numpy as np
import pydicom
import pytest

from trainer.physics.xray_carm import CArm
from trainer.records.dicom import secondary_capture, write_dicom

CARM = CArm((0.0, 0.0, 100.0), pixels=129)
PICTURE = np.random.default_rng(0).integers(0, 255, (129, 129)).astype(np.uint8)
REQUIRED = (
    *(
        "PatientName",
        "PatientID",
        "PatientBirthDate",
        "PatientSex",
        "StudyInstanceUID",
        "StudyDate",
        "StudyTime",
    ),
    *(
        "ReferringPhysicianName",
        "AccessionNumber",
        "StudyID",
        "Modality",
        "SeriesInstanceUID",
        "SeriesNumber",
    ),
    *(
        "ConversionType",
        "InstanceNumber",
        "PatientOrientation",
        "SamplesPerPixel",
        "BitsAllocated",
        "BitsStored",
    ),
    *("HighBit", "PixelRepresentation", "SOPInstanceUID"),
)
ABOUT = {"carm": CARM, "patient": "Ordinary adult", "case": "a case", "seed": 7}


def test_read_back(tmp_path):
    """pydicom, a general-purpose reader of DICOM; required attributes by PS3.3 A.8.1 (type 1 and 2)."""
    path = tmp_path / "view.dcm"
    write_dicom(path, PICTURE, **ABOUT)
    read = pydicom.dcmread(path)
    assert read.file_meta.TransferSyntaxUID == "1.2.840.10008.1.2.1"
    assert read.SOPClassUID == "1.2.840.10008.5.1.4.1.1.7"
    assert (read.Rows, read.Columns, read.PhotometricInterpretation) == (129, 129, "MONOCHROME2")
    # All but the burned-in word is the picture.
    assert np.array_equal(read.pixel_array[:100], PICTURE[:100])
    assert not np.array_equal(read.pixel_array[100:], PICTURE[100:])
    magnified = float(read.NominalScannedPixelSpacing[0]) / float(read.PixelSpacing[0])
    assert magnified == pytest.approx(CARM.magnification, rel=1e-6)
    for word in REQUIRED:
        assert word in read
    assert [file.name for file in tmp_path.iterdir()] == ["view.dcm"]


def test_nobody_can_take_it_for_a_person():
    capture = secondary_capture(PICTURE, **ABOUT)
    for text in (capture.PatientName, capture.PatientID, capture.PatientComments, capture.ImageComments,
                 capture.StudyDescription, capture.SeriesDescription):  # fmt: skip
        assert "SIMULATED" in str(text)
    assert (capture.BurnedInAnnotation, capture.QualityControlSubject) == ("YES", "YES")


def test_same_picture_same_identifier():
    first, same = (secondary_capture(PICTURE, **ABOUT) for _ in range(2))
    other = secondary_capture(PICTURE, **(ABOUT | {"carm": CARM.with_changes(orbit=0.5)}))
    assert first.SOPInstanceUID == same.SOPInstanceUID != other.SOPInstanceUID
    assert first.StudyInstanceUID == other.StudyInstanceUID
    assert first.StudyInstanceUID != secondary_capture(PICTURE, **(ABOUT | {"seed": 8})).StudyInstanceUID


def test_long_and_odd_names_fit():
    capture = secondary_capture(PICTURE, **(ABOUT | {"patient": "Patiënt \\ = " + "x" * 90}))
    assert len(str(capture.PatientName)) <= 64
    assert "\\" not in str(capture.PatientName)


def test_no_half_file(tmp_path):
    with pytest.raises(FileNotFoundError):
        write_dicom(tmp_path / "missing" / "view.dcm", PICTURE, **ABOUT)
    assert not list(tmp_path.iterdir())
